#include "virtual/physics/solenoid.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "physics/drawn.hpp"

namespace plexor::physics {
namespace {

using namespace std::chrono_literals;

TapConditions warm_12_v(base::Duration pulse) {
  return {.pulse = pulse, .coil_mdegc = 20'000, .supply_mv = 12'000};
}

Solenoid with_zener() {
  Solenoid solenoid;
  solenoid.clamp_v = 24.9;
  return solenoid;
}

struct KnownTap {
  const char* name;
  TapConditions conditions;
  double contact_ms;
  double speed_m_s;
  double clamp_v = 0.9;
  double source_ohm = 0.0;
};

class KnownTaps : public testing::TestWithParam<KnownTap> {};

TEST_P(KnownTaps, LandThenAndSoFast) {
  Solenoid solenoid;
  solenoid.clamp_v = GetParam().clamp_v;
  solenoid.source_ohm = GetParam().source_ohm;
  const TapSummary summary = tap(solenoid, GetParam().conditions);
  ASSERT_TRUE(summary.landed());
  const double at_ms = base::to_ms(summary.contacts.front().at);
  EXPECT_NEAR(at_ms / GetParam().contact_ms, 1.0, 0.0005);
  EXPECT_NEAR(summary.contacts.front().speed_m_s / GetParam().speed_m_s, 1.0, 0.001);
}

// Computed with SciPy 1.10 (DOP853, relative tolerance 1e-10) from the same equations; the first
// five agree with the figures printed for the reference plunger (13.73 ms, 1.29 m/s; 19.4, 0.94;
// 11.1, 1.59; 7.56, 2.36; hot 17.0, 1.04).
INSTANTIATE_TEST_SUITE_P(
    Held, KnownTaps,
    testing::Values(KnownTap{"12 V", {40ms, 20'000, 12'000}, 13.727590, 1.286083},
                    KnownTap{"9 V", {40ms, 20'000, 9'000}, 19.432450, 0.941974},
                    KnownTap{"15 V", {40ms, 20'000, 15'000}, 11.066153, 1.589743},
                    KnownTap{"24 V", {40ms, 20'000, 24'000}, 7.558168, 2.359422},
                    KnownTap{"90 degC", {40ms, 90'000, 12'000}, 17.020958, 1.037233},
                    KnownTap{
                        "2 ohm source", {40ms, 20'000, 12'000}, 15.166174, 1.156835, 0.9, 2.0}),
    [](const auto& one) { return "Tap" + std::to_string(one.index); });
INSTANTIATE_TEST_SUITE_P(
    Coasting, KnownTaps,
    testing::Values(KnownTap{"9 ms", {9ms, 20'000, 12'000}, 17.249312, 0.288359},
                    KnownTap{"10 ms", {10ms, 20'000, 12'000}, 14.971068, 0.619188},
                    KnownTap{"12 ms", {12ms, 20'000, 12'000}, 13.836286, 1.090431},
                    KnownTap{"10 ms zener", {10ms, 20'000, 12'000}, 17.021195, 0.281211, 24.9},
                    KnownTap{"12 ms zener", {12ms, 20'000, 12'000}, 14.016258, 0.876015, 24.9}),
    [](const auto& one) { return "Tap" + std::to_string(one.index); });

TEST(Tap, HasTheReferencePlungersFigures) {  // tests/reference/scipy_plunger_12V.csv
  const TapSummary summary = tap(Solenoid{}, warm_12_v(40ms));
  EXPECT_NEAR(base::to_ms(*summary.first_motion), 2.48, 0.01);
  EXPECT_NEAR(summary.peak_current_a, 0.710, 0.001);
  EXPECT_NEAR(summary.contacts.front().current_a, 0.372, 0.001);
  EXPECT_NEAR(summary.contacts.front().energy_j, 9.9e-3, 0.05e-3);
}

TEST(Tap, IsTheSameToTheLastBitOnEveryBuild) {
  const TapSummary summary = tap(Solenoid{}, warm_12_v(12ms));
  ASSERT_EQ(summary.contacts.size(), 1U);
  EXPECT_EQ(summary.contacts.front().at.count(), 13836286);
  EXPECT_EQ(summary.contacts.front().speed_m_s, 0x1.172682f91d87bp+0);
  EXPECT_EQ(summary.click->at.count(), 29020289);
}

TEST(Tap, NeverLandsWhenThePulseIsTooShort) {
  EXPECT_FALSE(tap(Solenoid{}, warm_12_v(8ms)).landed());
  EXPECT_FALSE(tap(Solenoid{}, warm_12_v(1ms)).first_motion);
  EXPECT_FALSE(tap(Solenoid{}, warm_12_v(0ms)).first_motion);
}

TEST(Tap, NeverLandsWhenTheCoilIsTooHotOrTheSupplyTooLow) {
  EXPECT_TRUE(tap(Solenoid{}, warm_12_v(10ms)).landed());
  EXPECT_FALSE(tap(Solenoid{}, {10ms, 90'000, 12'000}).landed());
  EXPECT_FALSE(tap(Solenoid{}, {10ms, 20'000, 9'000}).landed());
  EXPECT_FALSE(tap(Solenoid{}, {40ms, 20'000, 5'000}).landed());
}

TEST(Tap, StrikesFasterAndSoonerTheLongerThePulseLasts) {
  TapSummary shorter = tap(Solenoid{}, warm_12_v(9ms));
  for (base::Duration pulse = 9250us; pulse <= 13ms; pulse += 250us) {
    const TapSummary longer = tap(Solenoid{}, warm_12_v(pulse));
    EXPECT_GT(longer.contacts.front().speed_m_s, shorter.contacts.front().speed_m_s);
    EXPECT_LT(longer.contacts.front().at, shorter.contacts.front().at);
    shorter = longer;
  }
}

TEST(Tap, StrikesAgainWhenThePulseIsTooLong) {
  EXPECT_EQ(tap(Solenoid{}, warm_12_v(12ms)).contacts.size(), 1U);
  const TapSummary held = tap(Solenoid{}, warm_12_v(20ms));
  ASSERT_GT(held.contacts.size(), 1U);
  EXPECT_GT(held.contacts[1].at - held.contacts[0].at, 1ms);
  EXPECT_LT(held.contacts[1].speed_m_s, held.contacts[0].speed_m_s);
}

TEST(Tap, ClicksAtTheBackStopSomeFifteenToTwentyFiveMillisecondsLater) {
  for (const base::Duration pulse : {12ms, 13ms}) {
    const TapSummary summary = tap(Solenoid{}, warm_12_v(pulse));
    const base::Duration later = summary.click->at - summary.contacts.front().at;
    EXPECT_GE(later, 15ms);
    EXPECT_LE(later, 25ms);
    EXPECT_GT(summary.click->speed_m_s, 0.1);
  }
}

TEST(Tap, ComesHomeLaterWithAPlainDiodeThanWithAZener) {
  const TapSummary diode = tap(Solenoid{}, warm_12_v(20ms));
  const TapSummary zener = tap(with_zener(), warm_12_v(20ms));
  EXPECT_GT(diode.click->at, zener.click->at + 5ms);
}

TEST(Tap, IsWeakerOnASupplyThatSags) {
  Solenoid sagging;
  sagging.source_ohm = 2.0;
  EXPECT_LT(tap(sagging, warm_12_v(40ms)).contacts.front().speed_m_s,
            tap(Solenoid{}, warm_12_v(40ms)).contacts.front().speed_m_s);
}

TEST(Tap, GainsNoSpeedBeyondSaturation) {
  Solenoid saturating;
  saturating.saturation_n = 1.0;
  const double speed = tap(saturating, warm_12_v(40ms)).contacts.front().speed_m_s;
  // All of 1 N over the stroke would give sqrt(2 * 1 N * 5 mm / 12 g) = 0.91 m/s, less the spring.
  EXPECT_LT(speed, 0.91);
  EXPECT_LT(speed, 0.8 * tap(Solenoid{}, warm_12_v(40ms)).contacts.front().speed_m_s);
}

TEST(Tap, StaysWhereItIsWhenFrictionExceedsThePull) {
  Solenoid stuck;
  stuck.friction_n = 20.0;
  const TapSummary summary = tap(stuck, warm_12_v(20ms));
  EXPECT_FALSE(summary.first_motion);
  EXPECT_FALSE(summary.click);
}

TEST(Tap, EndsAtRestForAnyReasonableSolenoid) {
  for (std::uint32_t trial = 0; trial < 60; ++trial) {
    Solenoid solenoid;
    solenoid.moving_mass_kg = drawn(trial, 0, 0.003, 0.06);
    solenoid.spring_preload_n = drawn(trial, 1, 0.2, 1.0);
    solenoid.friction_n = drawn(trial, 2, 0.02, 0.15);
    solenoid.surface_restitution = drawn(trial, 3, 0.0, 0.8);
    solenoid.back_restitution = drawn(trial, 4, 0.0, 0.6);
    solenoid.gap_at_surface_m = drawn(trial, 5, 0.0, 1e-3);
    const auto pulse = std::chrono::microseconds{static_cast<int>(drawn(trial, 6, 0.0, 60e3))};
    const TapSummary summary = tap(solenoid, {pulse, 40'000, 14'000});
    EXPECT_LT(summary.settled, pulse + 1s) << trial;
    EXPECT_EQ(summary.first_motion.has_value(), summary.click.has_value()) << trial;
  }
}

TEST(Tap, RefusesWhatCannotBeIntegrated) {
  Solenoid massless;
  massless.moving_mass_kg = 0.0;
  EXPECT_THROW((void)tap(massless, warm_12_v(10ms)), std::logic_error);
  EXPECT_THROW((void)tap(Solenoid{}, warm_12_v(-1ms)), std::logic_error);
}

TEST(Inductance, GrowsAsTheGapCloses) {  // 40.7 mH open, 130 mH seated
  EXPECT_NEAR(inductance_h(Solenoid{}, 0.0), 40.7e-3, 0.05e-3);
  EXPECT_NEAR(inductance_h(Solenoid{}, 5e-3), 130e-3, 1e-12);
}

}  // namespace
}  // namespace plexor::physics
