#include "analysis/latency.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <numeric>
#include <vector>

namespace plexor::analysis {
namespace {

constexpr double endless = std::numeric_limits<double>::infinity();

/// 1, 2, ..., hits, then the unanswered.
std::vector<double> rising(std::size_t hits, std::size_t unanswered = 0) {
  std::vector<double> values(hits);
  std::iota(values.begin(), values.end(), 1.0);
  values.resize(hits + unanswered, endless);
  return values;
}

std::uint64_t total(const std::vector<LatencyBin>& bins) {
  return std::accumulate(bins.begin(), bins.end(), std::uint64_t{0},
                         [](std::uint64_t sum, const LatencyBin& bin) { return sum + bin.count; });
}

// Hyndman & Fan type 7 by hand: rank (n - 1) p + 1; n = 101 makes it a whole number.
TEST(Latency, PercentilesCountTheUnansweredAsInfinitelySlow) {
  const Latency latency = summarise_latency(rising(95, 6), {});
  EXPECT_EQ(latency.n, 101U);
  EXPECT_EQ(latency.heard, 95U);
  EXPECT_DOUBLE_EQ(*latency.percentiles[0].ms, 51.0);
  EXPECT_DOUBLE_EQ(*latency.percentiles[1].ms, 91.0);
  EXPECT_TRUE(std::isinf(*latency.percentiles[2].ms));
  EXPECT_DOUBLE_EQ(*latency.heard_percentiles[0].ms, 48.0);
  EXPECT_TRUE(std::isfinite(*latency.heard_percentiles[3].ms));
}

// Ranks 40 and 61 of 100 for the median: binom(100, 1/2) has P(40 <= X <= 60) = 0.9648; the
// classical table value, from memory.
TEST(Latency, TheMedianOfAHundredLiesBetweenItsFortiethAndSixtyFirstValue) {
  const Interval interval = quantile_interval(rising(100), 0.5, 0.95, Sides::two);
  EXPECT_DOUBLE_EQ(interval.lower, 40.0);
  EXPECT_DOUBLE_EQ(interval.upper, 61.0);
}

TEST(Latency, ABoundWithoutARankIsUnbounded) {
  const Interval interval = quantile_interval(rising(3), 0.99, 0.95, Sides::two);
  EXPECT_TRUE(std::isinf(interval.upper));
}

TEST(Latency, NoTrialsHaveNoPercentiles) {
  const Latency latency = summarise_latency({}, {});
  EXPECT_FALSE(latency.percentiles.front().ms);
  EXPECT_FALSE(latency.percentiles.front().interval);
  EXPECT_TRUE(latency.histogram.empty());
  EXPECT_TRUE(latency.ecdf.empty());
}

TEST(Latency, TheHistogramHasRoundEdgesAndLosesNothing) {
  const auto bins = latency_histogram(rising(400));
  EXPECT_LE(bins.size(), 40U);
  EXPECT_GE(bins.size(), 20U);
  EXPECT_DOUBLE_EQ(bins.front().from_ms, 0.0);
  EXPECT_DOUBLE_EQ(bins.front().to_ms, 20.0);
  EXPECT_GT(bins.back().to_ms, 400.0);
  EXPECT_EQ(total(bins), 400U);
}

TEST(Latency, EqualHitsMakeOneBin) {
  const auto bins = latency_histogram(std::vector(50, 612.34));
  ASSERT_EQ(bins.size(), 1U);
  EXPECT_LE(bins[0].from_ms, 612.34);
  EXPECT_GT(bins[0].to_ms, 612.34);
  EXPECT_EQ(bins[0].count, 50U);
}

TEST(Latency, TheDistributionClimbsToTheShareThatAnswered) {
  const auto steps = latency_ecdf(rising(5000), 10'000);
  EXPECT_LE(steps.size(), 400U);
  EXPECT_DOUBLE_EQ(steps.back().first, 5000.0);
  EXPECT_DOUBLE_EQ(steps.back().second, 0.5);
  for (const auto& [ms, share] : steps) EXPECT_DOUBLE_EQ(share, ms / 10'000.0);
}

TEST(Latency, EqualValuesAreOneStep) {
  const auto steps = latency_ecdf(std::vector{7.0, 7.0, 7.0, 9.0}, 4);
  ASSERT_EQ(steps.size(), 2U);
  EXPECT_DOUBLE_EQ(steps[0].second, 0.75);
}

}  // namespace
}  // namespace plexor::analysis
