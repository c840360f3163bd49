#include "safety/thermal.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "base/random.hpp"
#include "safety/example_tapper.hpp"

namespace plexor::safety {
namespace {

/// One node only: the body is too large to warm up and stays at air temperature.
CoilModel one_node(double k_w, double j_k) {
  CoilModel coil = example_coil();
  coil.winding_j_k = j_k;
  coil.winding_to_body_k_w = k_w;
  coil.body_j_k = 1e12;
  coil.body_to_air_k_w = 1e-6;
  return coil;
}

double uniform(std::uint32_t trial, std::uint32_t which, double low, double high) {
  const auto bits = base::uniform_bits({.seed = 7, .trial = trial, .tap = which});
  return low + (high - low) * static_cast<double>(bits >> 11U) * 0x1p-53;
}

CoilModel random_coil(std::uint32_t trial) {
  return {.supply_v = uniform(trial, 0, 3.0, 30.0),
          .resistance_20c_ohm = uniform(trial, 1, 3.0, 100.0),
          .winding_j_k = uniform(trial, 2, 0.2, 20.0),
          .body_j_k = uniform(trial, 3, 5.0, 200.0),
          .winding_to_body_k_w = uniform(trial, 4, 0.2, 20.0),
          .body_to_air_k_w = uniform(trial, 5, 1.0, 50.0),
          .ambient_c = uniform(trial, 6, -10.0, 40.0)};
}

/// The two-node solution by its eigenvalues (textbook linear algebra), with libm.
CoilState exact(const CoilModel& coil, CoilState start, double power_w, double seconds) {
  const double a = 1.0 / (coil.winding_to_body_k_w * coil.winding_j_k);
  const double b = 1.0 / (coil.winding_to_body_k_w * coil.body_j_k);
  const double c = b + 1.0 / (coil.body_to_air_k_w * coil.body_j_k);
  const double mean = -(a + c) / 2.0;
  const double spread = std::sqrt((a - c) * (a - c) / 4.0 + a * b);
  const double body_end = coil.ambient_c + power_w * coil.body_to_air_k_w;
  const double winding_end = body_end + power_w * coil.winding_to_body_k_w;
  const double w = start.winding_c - winding_end;
  const double t = start.body_c - body_end;
  const double slow = std::exp((mean + spread) * seconds);
  const double fast = std::exp((mean - spread) * seconds);
  const double even = (slow + fast) / 2.0;
  const double odd = (slow - fast) / (2.0 * spread);
  return {winding_end + even * w + odd * ((-a - mean) * w + a * t),
          body_end + even * t + odd * (b * w + (-c - mean) * t)};
}

TEST(CoilResistance, FollowsCopper) {  // physics_checks.csv S09
  EXPECT_NEAR(resistance_ohm(example_coil(), 90.0), 19.1257, 19.1257e-4);
  EXPECT_DOUBLE_EQ(resistance_ohm(example_coil(), 20.0), 15.0);
}

TEST(CoilHeat, ReachesThePublishedPeakAfterTwentyCycles) {  // physics_checks.csv S13
  const CoilModel coil = one_node(18.0, 30.0);
  CoilState state = cold(coil);
  double peak_k = 0.0;
  for (int cycle = 0; cycle < 20; ++cycle) {
    state = after_at_power(coil, state, 2s, 9.6);
    peak_k = state.winding_c - coil.ambient_c;
    state = after(coil, state, 8s, false);
  }
  EXPECT_NEAR(peak_k, 10.7764, 10.7764 * 0.002);
}

TEST(CoilHeat, SettlesAtThePublishedPeriodicPeak) {  // physics_checks.csv S14
  const CoilModel coil = one_node(18.0, 30.0);
  CoilState state = cold(coil);
  for (int cycle = 0; cycle < 2000; ++cycle) {
    state = after_at_power(coil, after(coil, state, 8s, false), 2s, 9.6);
  }
  EXPECT_NEAR(state.winding_c - coil.ambient_c, 34.8165, 34.8165 * 0.002);
}

TEST(CoilHeat, ReachesItsLimitAtThePublishedOnTime) {  // physics_checks.csv S15
  const CoilModel coil = one_node(18.0, 30.0);
  const double rise_k = after_at_power(coil, cold(coil), 280'449ms, 9.6).winding_c - coil.ambient_c;
  EXPECT_NEAR(rise_k, 70.0, 70.0 * 1e-4);
}

TEST(CoilHeat, SettlesAtThePublishedTemperatureAtConstantVoltage) {  // physics_checks.csv S16
  const CoilModel coil = one_node(18.0, 30.0);
  EXPECT_NEAR(after(coil, cold(coil), 4h, true).winding_c, 140.328, 0.1);
}

TEST(CoilHeat, SettlesWhereItGivesAwayWhatItTakes) {
  const CoilModel coil = example_coil();
  const CoilState state = after(coil, cold(coil), 8h, true);
  const double power_w = 144.0 / resistance_ohm(coil, state.winding_c);
  EXPECT_NEAR((state.winding_c - state.body_c) / coil.winding_to_body_k_w, power_w, 1e-6);
  EXPECT_NEAR((state.body_c - coil.ambient_c) / coil.body_to_air_k_w, power_w, 1e-6);
}

TEST(CoilHeat, AgreesWithTheExactTwoNodeSolution) {
  for (std::uint32_t trial = 0; trial < 500; ++trial) {
    const CoilModel coil = random_coil(trial);
    const CoilState start{uniform(trial, 7, 0.0, 120.0), uniform(trial, 8, 0.0, 90.0)};
    const double power_w = uniform(trial, 9, 0.0, 20.0);
    const double seconds = std::exp2(uniform(trial, 10, -10.0, 15.0));
    const base::Duration elapsed{std::llround(seconds * 1e9)};
    const CoilState found = after_at_power(coil, start, elapsed, power_w);
    const CoilState expected = exact(coil, start, power_w, base::to_s(elapsed));
    EXPECT_NEAR(found.winding_c, expected.winding_c, 1e-8) << trial;
    EXPECT_NEAR(found.body_c, expected.body_c, 1e-8) << trial;
  }
}

TEST(CoilHeat, IsTheSameWhetherARestIsTakenAtOnceOrInParts) {
  const CoilModel coil = example_coil();
  const CoilState hot{95.0, 50.0};
  const CoilState once = after(coil, hot, 90min, false);
  const CoilState parts =
      after(coil, after(coil, hot, 123'456'789ns, false), 90min - 123'456'789ns, false);
  EXPECT_NEAR(once.winding_c, parts.winding_c, 1e-9);
  EXPECT_NEAR(once.body_c, parts.body_c, 1e-9);
}

// The bound that thermal.hpp states, against steps ten times finer.
TEST(CoilHeat, ErrsOnTheHotSideByLessThanStatedWhileOn) {  // [S46]
  for (std::uint32_t trial = 0; trial < 200; ++trial) {
    const CoilModel coil = random_coil(trial);
    const CoilState found = after(coil, cold(coil), 200ms, true);
    CoilState fine = cold(coil);
    for (int step = 0; step < 400; ++step) fine = after(coil, fine, 500us, true);
    const double k_s =
        coil.supply_v * coil.supply_v / resistance_ohm(coil, coil.ambient_c) / coil.winding_j_k;
    const double bound_k = 0.2 * k_s * 0.005 * k_s / (234.5 + coil.ambient_c);
    EXPECT_GE(found.winding_c, fine.winding_c) << trial;
    EXPECT_LE(found.winding_c, fine.winding_c + bound_k) << trial;
  }
}

TEST(CoilHeat, KeepsItsEnergyWhenNearlyNothingLeavesIt) {
  CoilModel coil = example_coil();
  coil.body_to_air_k_w = 1e9;
  const CoilState state = after_at_power(coil, cold(coil), 20s, 9.6);
  const double stored_j = coil.winding_j_k * (state.winding_c - coil.ambient_c) +
                          coil.body_j_k * (state.body_c - coil.ambient_c);
  EXPECT_NEAR(stored_j, 9.6 * 20.0, 1e-4);
}

TEST(CoilHeat, RisesWithSupplyAndOnTimeAndFallsWithRest) {
  for (std::uint32_t trial = 0; trial < 200; ++trial) {
    const CoilModel coil = random_coil(trial);
    CoilModel stronger = coil;
    stronger.supply_v *= 1.1;
    const CoilState brief = after(coil, cold(coil), 20ms, true);
    EXPECT_GT(after(stronger, cold(coil), 20ms, true).winding_c, brief.winding_c) << trial;
    EXPECT_GT(after(coil, cold(coil), 30ms, true).winding_c, brief.winding_c) << trial;
    EXPECT_LT(after(coil, brief, 200ms, false).winding_c, brief.winding_c) << trial;
    EXPECT_GE(after(coil, brief, 24h, false).winding_c, coil.ambient_c - 1e-9) << trial;
  }
}

TEST(CoilHeat, StaysFiniteAndSettlesOverAnyLength) {
  for (const base::Duration elapsed : {base::Duration{1}, base::Duration::max()}) {
    const CoilState state = after(example_coil(), {100.0, 60.0}, elapsed, false);
    EXPECT_TRUE(state.winding_c >= 23.0 - 1e-9 && state.winding_c <= 100.0);
  }
  EXPECT_NEAR(after(example_coil(), {100.0, 60.0}, base::Duration::max(), false).body_c, 23.0,
              1e-9);
}

TEST(CoilHeat, IsUnchangedByNoTime) {
  for (const base::Duration none : {base::Duration{0}, base::Duration{-5}, base::Duration::min()}) {
    EXPECT_EQ(after(example_coil(), {80.0, 40.0}, none, true).winding_c, 80.0);
    EXPECT_EQ(after(example_coil(), {80.0, 40.0}, none, false).body_c, 40.0);
  }
}

}  // namespace
}  // namespace plexor::safety
