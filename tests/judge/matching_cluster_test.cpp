#include <gtest/gtest.h>

#include "judge/cluster.hpp"
#include "judge/exhaustive_matching.hpp"

namespace plexor::judge {
namespace {

std::vector<std::uint32_t> solve(const Problem& problem, std::size_t max_table) {
  ClusterMatcher matcher(max_table);
  return matcher.solve(problem.windows, problem.arrivals);
}

TEST(ClusterMatcher, EqualsTryingEverythingWhereItMustHalveItsTable) {
  for (std::uint32_t number = 0; number < 5000; ++number) {
    const Problem problem = draw_problem(number);
    for (const std::size_t max_table : {0U, 1U, 4U, 9U})
      ASSERT_EQ(pairs_of(solve(problem, max_table)), try_everything(problem))
          << "problem " << number << ", table " << max_table;
  }
}

/// 300 windows, each reaching about 20 arrivals, every fifth unanswered.
Problem crowded_problem() {
  Problem problem;
  for (std::uint32_t i = 0; i < 300; ++i) {
    const std::int64_t start = std::int64_t{i} * 10;
    problem.windows.push_back({at(start), at(start + 30), at(start + 200)});
    if (i % 5 != 0)
      problem.arrivals.push_back(at(start + base::uniform_between({.trial = i}, 0, 9)));
  }
  return problem;
}

TEST(ClusterMatcher, GivesTheSameAnswerWhateverItsTable) {
  const Problem problem = crowded_problem();
  const auto whole = solve(problem, 1'000'000);
  for (const std::size_t max_table : {0U, 1U, 10U, 100U, 1000U})
    EXPECT_EQ(solve(problem, max_table), whole) << max_table;
}

TEST(ClusterMatcher, KeepsNothingFromTheClusterBefore) {
  ClusterMatcher matcher;
  for (std::uint32_t number = 0; number < 200; ++number) {
    const Problem problem = draw_problem(number);
    EXPECT_EQ(matcher.solve(problem.windows, problem.arrivals), solve(problem, default_max_table));
  }
}

}  // namespace
}  // namespace plexor::judge
