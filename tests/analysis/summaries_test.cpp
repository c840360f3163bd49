#include <gtest/gtest.h>

#include <algorithm>
#include <cstdint>

#include "analysis/figures.hpp"
#include "analysis/strength.hpp"
#include "analysis/timeline.hpp"

namespace plexor::analysis {
namespace {

TEST(StrengthTally, CountsHitsByStrikeSpeed) {
  StrengthTally tally;
  tally.count({900'000}, true);
  tally.count({930'000}, false);
  tally.count({310'000}, false);
  const auto bins = tally.bins();
  ASSERT_EQ(bins.size(), 2U);
  EXPECT_DOUBLE_EQ(bins[0].from_m_s, 0.30);
  EXPECT_EQ(bins[0].detected.x, 0U);
  EXPECT_DOUBLE_EQ(bins[1].to_m_s, 0.95);
  EXPECT_EQ(bins[1].detected.x, 1U);
  EXPECT_EQ(bins[1].detected.n, 2U);
}

TEST(StrengthTally, MergesAWideRangeIntoAFewRoundBins) {
  StrengthTally tally;
  for (int speed = 0; speed < 2'000'000; speed += 10'000) tally.count({speed}, true);
  const auto bins = tally.bins();
  EXPECT_EQ(bins.size(), 10U);
  EXPECT_DOUBLE_EQ(bins[0].to_m_s, 0.2);
  for (const StrengthBin& bin : bins) EXPECT_EQ(bin.detected.n, 20U);
}

TEST(Timeline, GrowsToAtMost240StretchesAndLosesNothing) {
  Timeline timeline;
  for (int second = 0; second < 10'000; ++second) {
    timeline.answer(second + 0.5, second % 100 == 0);
    if (second % 1000 == 0) timeline.alarm(second + 0.5);
  }
  const auto stretches = std::move(timeline).stretches(10'000.0);
  ASSERT_LE(stretches.size(), 240U);
  EXPECT_GE(stretches.size(), 120U);
  EXPECT_GE(stretches.back().to_s, 10'000.0);
  TimelineBin sum;
  for (const TimelineBin& bin : stretches) {
    EXPECT_DOUBLE_EQ(bin.to_s - bin.from_s, stretches.front().to_s);
    sum.trials += bin.trials;
    sum.wrong += bin.wrong;
    sum.alarms += bin.alarms;
    const double seconds = std::min(bin.to_s, 10'000.0) - bin.from_s;
    EXPECT_EQ(bin.trials, static_cast<std::uint64_t>(seconds));  // one a second
  }
  EXPECT_EQ(sum.trials, 10'000U);
  EXPECT_EQ(sum.wrong, 100U);
  EXPECT_EQ(sum.alarms, 10U);
}

TEST(Timeline, ShowsTheSilenceAfterTheLastTrial) {
  Timeline timeline;
  timeline.answer(0.5, false);
  const auto stretches = std::move(timeline).stretches(30.0);
  ASSERT_EQ(stretches.size(), 30U);
  EXPECT_EQ(stretches[0].trials, 1U);
  EXPECT_EQ(stretches[29].trials, 0U);
}

TEST(Figures, NothingCountedGivesNoEstimateRatherThanZero) {
  EXPECT_FALSE(proportion_of(0, 0).estimate);
  EXPECT_FALSE(proportion_of(0, 0).exact);
  EXPECT_FALSE(alarm_rate_of(0, base::Duration{}).per_hour);
}

}  // namespace
}  // namespace plexor::analysis
