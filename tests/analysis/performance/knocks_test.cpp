#include "analysis/performance/knocks.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "base/random.hpp"

namespace plexor::analysis {
namespace {

using testing::DoubleNear;
using testing::ElementsAre;

constexpr double sample_rate_hz = 4000.0;

/// A sensor at rest, on which knocks ring.
struct Recording {
  std::vector<double> times_s{};
  std::vector<double> values{};

  Recording(double seconds, double baseline, double noise) {
    const auto samples = static_cast<std::uint32_t>(seconds * sample_rate_hz);
    for (std::uint32_t i = 0; i < samples; ++i) {
      times_s.push_back(i / sample_rate_hz);
      const auto z = base::normal_q32(
          base::uniform_bits({.seed = 5, .tap = i, .purpose = base::Purpose::dice}));
      values.push_back(baseline + noise * std::ldexp(static_cast<double>(z), -32));
    }
  }

  Recording& knock(double at_s, double peak, double ring_s = 0.012) {
    for (auto i = static_cast<std::size_t>(std::lround(at_s * sample_rate_hz)); i < values.size();
         ++i) {
      const double since = times_s[i] - at_s;
      values[i] += peak * std::exp(-since / ring_s) * std::cos(2.0 * 3.14159265 * 400.0 * since);
    }
    return *this;
  }
};

std::vector<double> instants_of(const std::vector<Knock>& knocks) {
  std::vector<double> instants;
  for (const Knock& knock : knocks) instants.push_back(knock.at_s);
  return instants;
}

constexpr double one_sample_s = 1.0 / sample_rate_hz;

TEST(Knocks, AreFoundAboveTheNoiseWithInstantAndPeakInTheSensorsUnit) {
  Recording volts(3.0, 1.65, 0.002);
  volts.knock(0.5, 0.4).knock(0.7, -0.3).knock(2.0, 0.2);
  const auto found = find_knocks(volts.times_s, volts.values, {});
  ASSERT_TRUE(found);
  EXPECT_THAT(instants_of(found->knocks),
              ElementsAre(DoubleNear(0.5, one_sample_s), DoubleNear(0.7, one_sample_s),
                          DoubleNear(2.0, one_sample_s)));
  ASSERT_EQ(found->knocks.size(), 3U);
  EXPECT_NEAR(found->knocks[0].strength.value(), 0.4, 0.01);
  EXPECT_NEAR(found->knocks[1].strength.value(), 0.3, 0.01);
  EXPECT_NEAR(found->baseline, 1.65, 0.001);
  EXPECT_NEAR(found->noise_rms, 0.002, 0.0003);
}

TEST(Knocks, OfCoarseCodesAreNotLostInTheirFlicker) {
  Recording codes(2.0, 100.5, 0.6);
  codes.knock(0.5, 60).knock(0.9, 50);
  for (double& value : codes.values) value = std::round(value);
  const auto found = find_knocks(codes.times_s, codes.values, {});
  ASSERT_TRUE(found);
  EXPECT_EQ(found->knocks.size(), 2U);
  EXPECT_GT(found->threshold, 2.0);
}

TEST(Knocks, AreNotTheBumpsFarBelowThem) {
  Recording sensor(3.0, 0.0, 0.001);
  sensor.knock(0.5, 1.0).knock(0.8, 0.8).knock(1.5, 0.05).knock(2.5, 0.9);
  const auto found = find_knocks(sensor.times_s, sensor.values, {});
  ASSERT_TRUE(found);
  EXPECT_EQ(found->knocks.size(), 3U);
  const auto all = find_knocks(sensor.times_s, sensor.values, {.threshold = 0.02});
  EXPECT_EQ(all.value().knocks.size(), 4U);
}

TEST(Knocks, RingNoLongerThanTheLockout) {
  Recording sensor(2.0, 0.0, 0.001);
  sensor.knock(0.5, 1.0, 0.05);
  EXPECT_EQ(find_knocks(sensor.times_s, sensor.values, {.lockout_s = 0.2})->knocks.size(), 1U);
  EXPECT_GT(find_knocks(sensor.times_s, sensor.values, {.lockout_s = 0.02})->knocks.size(), 1U);
}

TEST(Knocks, AreNotSoughtInTooFewSamplesAndNotFoundInSilence) {
  const Recording silence(1.0, 2.0, 0.0);
  EXPECT_EQ(find_knocks(silence.times_s, silence.values, {})->knocks.size(), 0U);
  const std::vector<double> few{0, 1, 2, 3};
  EXPECT_FALSE(find_knocks(few, few, {}));
}

std::vector<Knock> knocks_at(const std::vector<double>& instants) {
  std::vector<Knock> knocks;
  for (const double at_s : instants) knocks.push_back({at_s, {}});
  return knocks;
}

TEST(Performances, AreSplitAtPausesAndOddOnesAreNamed) {
  const auto knocks = knocks_at({0, 0.2, 0.6, 3, 3.2, 3.6, 6, 6.2, 9, 9.25, 9.6});
  const Performances performances = performances_of(knocks, 1.5);
  EXPECT_EQ(performances.knocks_each, 3U);
  ASSERT_EQ(performances.kept.size(), 3U);
  EXPECT_EQ(performances.kept[2].number, 4U);
  ASSERT_EQ(performances.left_out.size(), 1U);
  EXPECT_EQ(performances.left_out[0].number, 3U);
  EXPECT_EQ(performances.left_out[0].knocks.size(), 2U);
  EXPECT_NEAR(performances.longest_interval_s, 0.4, 1e-9);
  EXPECT_NEAR(performances.shortest_pause_s.value(), 2.4, 1e-9);
}

TEST(Performances, OfNothingAreNone) {
  EXPECT_EQ(performances_of({}, 1.0).knocks_each, 0U);
  EXPECT_TRUE(performances_of({}, 1.0).kept.empty());
}

}  // namespace
}  // namespace plexor::analysis
