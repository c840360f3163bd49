#include "judge/matching.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "judge/exhaustive_matching.hpp"

namespace plexor::judge {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;

/// Windows [start, start + length] whose latency counts from the start.
std::vector<AnswerWindow> windows_of(std::initializer_list<std::int64_t> starts,
                                     std::int64_t length) {
  std::vector<AnswerWindow> windows;
  for (const std::int64_t start : starts)
    windows.push_back({at(start), at(start), at(start + length)});
  return windows;
}

std::vector<base::Instant> arrivals_at(std::initializer_list<std::int64_t> times) {
  std::vector<base::Instant> arrivals;
  for (const std::int64_t time : times) arrivals.push_back(at(time));
  return arrivals;
}

TEST(Matching, AnswersEachWindowFromItsOwnArrival) {
  EXPECT_THAT(match(windows_of({0, 1000, 2000}, 200), arrivals_at({30, 1040, 2025})),
              ElementsAre(0, 1, 2));
}

TEST(Matching, OfNothingIsNothing) {
  EXPECT_THAT(match({}, {}), IsEmpty());
  EXPECT_THAT(match({}, arrivals_at({1, 2})), IsEmpty());
  EXPECT_THAT(match(windows_of({0, 10}, 5), {}), ElementsAre(unmatched, unmatched));
}

TEST(Matching, LeavesAnUnansweredWindowUnmatched) {
  EXPECT_THAT(match(windows_of({0, 1000, 2000}, 200), arrivals_at({30, 2025})),
              ElementsAre(0, unmatched, 1));
}

TEST(Matching, PassesStrayArrivalsBeforeBetweenAndAfter) {
  EXPECT_THAT(match(windows_of({0, 1000}, 200), arrivals_at({-9, -8, 30, 500, 501, 1040, 9000})),
              ElementsAre(2, 5));
}

TEST(Matching, CountsBothEndsOfAWindowAsInside) {
  EXPECT_THAT(match(windows_of({100, 400}, 200), arrivals_at({100, 600})), ElementsAre(0, 1));
  EXPECT_THAT(match(windows_of({100, 400}, 200), arrivals_at({99, 601})),
              ElementsAre(unmatched, unmatched));
}

TEST(Matching, TakesTheArrivalNearestToTheReference) {
  const std::vector<AnswerWindow> window{{at(0), at(100), at(300)}};
  EXPECT_THAT(match(window, arrivals_at({20, 90, 130, 299})), ElementsAre(1));
}

TEST(Matching, TakesTheEarlierOfTwoEquallyNearArrivals) {
  const std::vector<AnswerWindow> window{{at(0), at(100), at(300)}};
  EXPECT_THAT(match(window, arrivals_at({90, 110})), ElementsAre(0));
  EXPECT_THAT(match(window, arrivals_at({110, 110})), ElementsAre(0));
}

TEST(Matching, GivesASharedArrivalToTheEarlierOfTwoEqualWindows) {
  EXPECT_THAT(match(windows_of({0, 0}, 100), arrivals_at({50})), ElementsAre(0, unmatched));
}

TEST(Matching, PrefersMoreMatchesToShorterLatency) {
  EXPECT_THAT(match(windows_of({0, 90, 180}, 160), arrivals_at({95, 185, 330})),
              ElementsAre(0, 1, 2));
}

TEST(Matching, PrefersShorterLatencyAmongEquallyManyMatches) {
  EXPECT_THAT(match(windows_of({0, 100, 200, 300}, 150), arrivals_at({120, 220, 320})),
              ElementsAre(unmatched, 0, 1, 2));
}

TEST(Matching, SettlesAClusterBetweenLoneWindows) {
  EXPECT_THAT(match(windows_of({0, 1000, 1050, 5000}, 200), arrivals_at({10, 1060, 1070, 5001})),
              ElementsAre(0, 1, 2, 3));
}

TEST(Matching, EqualsTryingEverything) {
  for (std::uint32_t number = 0; number < 20000; ++number) {
    const Problem problem = draw_problem(number);
    ASSERT_EQ(pairs_of(match(problem.windows, problem.arrivals)), try_everything(problem))
        << "problem " << number;
  }
}

/// A long run of windows and arrivals; `length` decides how many windows overlap.
Problem long_problem(std::uint32_t number, std::int64_t length) {
  Problem problem;
  for (std::uint32_t i = 0; i < 2000; ++i) {
    const std::int64_t start = std::int64_t{i} * 100;
    problem.windows.push_back({at(start), at(start + 20), at(start + length)});
    const base::DrawKey key{.seed = number, .trial = i};
    if (base::uniform_between(key, 0, 9) > 0)
      problem.arrivals.push_back(at(start + base::uniform_between(key, 0, 99)));
  }
  return problem;
}

TEST(Matching, IsOneToOneInOrderAndInsideTheWindows) {
  for (const std::int64_t length : {10, 99, 150, 1000, 50000}) {
    const Problem problem = long_problem(static_cast<std::uint32_t>(length), length);
    std::int64_t previous = -1;
    for (const auto& [w, a] : pairs_of(match(problem.windows, problem.arrivals))) {
      ASSERT_GT(a, previous) << "window " << w << " of length " << length;
      ASSERT_GE(problem.arrivals[a], problem.windows[w].opens);
      ASSERT_LE(problem.arrivals[a], problem.windows[w].closes);
      previous = a;
    }
  }
}

TEST(Matching, NeverHasFewerMatchesWithLongerWindows) {
  std::size_t before = 0;
  for (const std::int64_t length : {10, 99, 150, 1000, 50000}) {
    const Problem problem = long_problem(7, length);
    const std::size_t matches = pairs_of(match(problem.windows, problem.arrivals)).size();
    EXPECT_GE(matches, before) << length;
    before = matches;
  }
}

TEST(Matching, SettlesAHundredThousandWindowsThatAllReachEverything) {
  // 10^10 pairs: practicable only because each window's reach is narrowed first.
  Problem problem;
  for (std::int64_t i = 0; i < 100000; ++i) {
    problem.windows.push_back({at(i), at(i), at(1'000'000)});
    problem.arrivals.push_back(at(200'000 + i));
  }
  const Pairs pairs = pairs_of(match(problem.windows, problem.arrivals));
  ASSERT_EQ(pairs.size(), 100000U);
  for (const auto& [w, a] : pairs) ASSERT_EQ(w, a);
}

}  // namespace
}  // namespace plexor::judge
