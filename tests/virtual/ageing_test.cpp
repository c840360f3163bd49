#include "virtual/ageing.hpp"

#include <gtest/gtest.h>

#include <set>

#include "virtual/segment_seed.hpp"
#include "workshop.hpp"

namespace plexor::virtual_rig {
namespace {

constexpr std::int64_t first_day_ns = 1'780'876'800'000'000'000;  // 2026-06-08, 00:00 UTC
constexpr std::int64_t day_ns = 86'400'000'000'000;

/// Sensitivity of a sensor of 1.5 that ages like that, so many days after its first.
double sensitivity_after(double days, double gain_per_day) {
  Simulation simulation = workshop_simulation();
  firmware_of(simulation).sensitivity = 1.5;
  firmware_of(simulation).ageing = AgeingSettings{first_day_ns, gain_per_day};
  age(simulation, first_day_ns + static_cast<std::int64_t>(days * static_cast<double>(day_ns)));
  return firmware_of(simulation).sensitivity;
}

TEST(Ageing, ASensorLosesAShareOfItsFirstDayEachDay) {
  EXPECT_DOUBLE_EQ(sensitivity_after(0, -0.02), 1.5);
  EXPECT_DOUBLE_EQ(sensitivity_after(1, -0.02), 1.5 * 0.98);
  EXPECT_DOUBLE_EQ(sensitivity_after(10.5, -0.02), 1.5 * 0.79);
  EXPECT_DOUBLE_EQ(sensitivity_after(10, 0.02), 1.5 * 1.2);
}

TEST(Ageing, BeginsWithTheFirstDayAndEndsBeforeNothingIsLeft) {
  EXPECT_DOUBLE_EQ(sensitivity_after(-30, -0.02), 1.5);
  EXPECT_DOUBLE_EQ(sensitivity_after(1000, -0.02), 1.5 * 0.01);
}

TEST(Ageing, LeavesAloneWhatDoesNotAge) {
  Simulation simulation = workshop_simulation();
  EXPECT_FALSE(ages(simulation));
  age(simulation, first_day_ns + 100 * day_ns);
  EXPECT_EQ(firmware_of(simulation).sensitivity, 1.0);
  firmware_of(simulation).ageing = AgeingSettings{first_day_ns, -0.02};
  EXPECT_TRUE(ages(simulation));
  EXPECT_FALSE(ages(dice_simulation(sure_dice())));
}

TEST(SegmentSeed, TheFirstSegmentHasTheRunsOwn) {
  EXPECT_EQ(segment_seed(20260611, 0), 20260611U);
  EXPECT_EQ(segment_seed(0, 0), 0U);
}

TEST(SegmentSeed, NoTwoSegmentsOfAnyRunsShareOne) {
  std::set<std::uint64_t> seeds;
  for (std::uint64_t seed = 0; seed < 100; ++seed) {
    for (std::uint32_t segment = 0; segment < 100; ++segment) {
      seeds.insert(segment_seed(seed, segment));
    }
  }
  EXPECT_EQ(seeds.size(), 10'000U);
}

TEST(SegmentSeed, ALaterSegmentHearsOtherNoise) {
  const auto stream = [](std::uint32_t segment) {
    rig::RigFile rig = workshop_rig();
    rig.channels = {{.name = "converter", .device = 0, .rate_hz = 8000, .highest = 4095}};
    VirtualRig virtual_rig(rig, workshop_simulation(), segment_seed(5, segment), false);
    std::vector<std::int32_t> values;
    for (const auto& samples :
         only<rig::SamplesHeard>(observe_all(virtual_rig, base::segment_start + 1s))) {
      values.insert(values.end(), samples.values.begin(), samples.values.end());
    }
    return values;
  };
  const auto first = stream(0);
  const auto second = stream(1);
  ASSERT_EQ(first.size(), second.size());
  std::size_t equal = 0;
  for (std::size_t i = 0; i < first.size(); ++i) equal += first[i] == second[i] ? 1U : 0U;
  // Noise of 2 LSB: two independent codes agree in about one of seven (1 / (2 sigma sqrt(pi))).
  EXPECT_LT(static_cast<double>(equal), 0.25 * static_cast<double>(first.size()));
}

}  // namespace
}  // namespace plexor::virtual_rig
