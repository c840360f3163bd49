#include "rig/disturbance_reader.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <utility>
#include <vector>

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using ::testing::ElementsAre;
using ::testing::IsEmpty;
using Span = DisturbanceReader::Span;

constexpr base::Duration tail = 5s;

base::Instant at(base::Duration since_start) { return base::segment_start + since_start; }

/// What is told of a line that changes at these instants, first to active, looked at every 100 ms
/// until `end`.
std::vector<Span> told(const std::vector<base::Duration>& changes, base::Duration end) {
  DisturbanceReader reader(tail);
  std::vector<Span> spans;
  const auto settle = [&](base::Instant now) {
    if (const auto span = reader.settled(now)) spans.push_back(*span);
  };
  std::size_t next = 0;
  for (base::Duration now{}; now <= end; now += 100ms) {
    for (; next < changes.size() && changes[next] <= now; ++next) {
      settle(at(changes[next]));
      reader.take(next % 2 == 0, at(changes[next]));
    }
    settle(at(now));
  }
  return spans;
}

TEST(DisturbanceReader, TellsWhenItBeganAndWhenItHadFaded) {
  EXPECT_THAT(told({10s, 12s}, 60s), ElementsAre(Span{at(10s), at(17s)}));
  EXPECT_THAT(told({10s, 12s, 40s, 41s}, 60s),
              ElementsAre(Span{at(10s), at(17s)}, Span{at(40s), at(46s)}));
}

TEST(DisturbanceReader, SaysNothingBeforeItHasFaded) {
  EXPECT_THAT(told({10s, 12s}, 16900ms), IsEmpty());
  EXPECT_THAT(told({}, 60s), IsEmpty());
}

TEST(DisturbanceReader, TakesWhatComesAgainBeforeThatForTheSame) {
  EXPECT_THAT(told({10s, 12s, 16s, 18s}, 60s), ElementsAre(Span{at(10s), at(23s)}));
  EXPECT_THAT(told({10s, 10s + 1ms, 10s + 2ms, 10s + 3ms}, 60s),
              ElementsAre(Span{at(10s), at(15s + 3ms)}))
      << "a switch that bounces";
}

TEST(DisturbanceReader, TellsOneThatLastsInPieces) {
  EXPECT_THAT(told({10s, 150s}, 200s), ElementsAre(Span{at(10s), at(70s)}, Span{at(70s), at(130s)},
                                                   Span{at(130s), at(155s)}));
}

}  // namespace
}  // namespace plexor::rig
