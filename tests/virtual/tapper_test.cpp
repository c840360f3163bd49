#include "virtual/tapper.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "workshop.hpp"

namespace plexor::virtual_rig {
namespace {

using ::testing::IsEmpty;
using ::testing::SizeIs;

constexpr double restitution = 0.35;

Tapper workshop_tapper(const TapperSettings& settings = workshop_simulation().tapper) {
  return Tapper(workshop_rig().coil, settings, restitution, 1);
}

TapperSettings without_scatter() {
  TapperSettings settings = workshop_simulation().tapper;
  settings.transit_sd = 0ms;
  return settings;
}

base::Pulse pulse_at(base::Duration on, base::Duration on_time) {
  return {base::segment_start + on, on_time};
}

TEST(Tapper, StrikesAsCalibratedWhileTheCoilIsAsWarmAsThen) {
  const rig::RigFile rig = workshop_rig();
  for (const std::int64_t um_s : {300'000, 456'000, 720'000, 900'000, 1'251'000}) {
    const auto drive = rig.calibration->curves.front().at({um_s});
    Tapper tapper = workshop_tapper(without_scatter());
    const Stroke stroke = tapper.strike(pulse_at(1s, drive.on_time));
    ASSERT_THAT(stroke.contacts, SizeIs(1)) << um_s;
    // Between the table's points the curve is bent.
    EXPECT_NEAR(stroke.contacts[0].speed_m_s, static_cast<double>(um_s) / 1e6, 0.03) << um_s;
    EXPECT_LT(std::chrono::abs(stroke.contacts[0].at - stroke.pulse.on - drive.transit), 350us);
  }
}

TEST(Tapper, ScattersTheTransitAboutTheIntegratedOne) {
  const auto contact = [](Tapper& tapper, int i) {
    const Stroke stroke = tapper.strike(pulse_at(i * 60s, 11ms));
    return base::to_ms(stroke.contacts.at(0).at - stroke.pulse.on) * 1e3;
  };
  Tapper exact = workshop_tapper(without_scatter());
  Tapper tapper = workshop_tapper();
  constexpr int n = 4000;
  double sum = 0.0;
  double squares = 0.0;
  for (int i = 0; i < n; ++i) {
    const double off_us = contact(tapper, i) - contact(exact, i);
    sum += off_us;
    squares += off_us * off_us;
  }
  EXPECT_NEAR(sum / n, 0.0, 5.0 * 150.0 / std::sqrt(n));
  // Truncation at 3 sd takes 1.3 % off the deviation.
  EXPECT_NEAR(std::sqrt(squares / n), 150.0 * 0.987, 5.0 * 150.0 / std::sqrt(2.0 * n));
}

TEST(Tapper, ScattersTheStrike) {
  TapperSettings settings = without_scatter();
  settings.strike_cv = 0.05;
  Tapper tapper = workshop_tapper(settings);
  Tapper exact = workshop_tapper(without_scatter());
  constexpr int n = 1000;
  double squares = 0.0;
  for (int i = 0; i < n; ++i) {
    const base::Pulse pulse = pulse_at(i * 60s, 11ms);
    const double ratio = tapper.strike(pulse).contacts.at(0).speed_m_s /
                         exact.strike(pulse).contacts.at(0).speed_m_s;
    squares += (ratio - 1.0) * (ratio - 1.0);
  }
  EXPECT_NEAR(std::sqrt(squares / n), 0.05 * 0.987, 5.0 * 0.05 / std::sqrt(2.0 * n));
}

TEST(Tapper, TooShortAPulseNeverLandsButClicksOnItsReturn) {
  Tapper tapper = workshop_tapper();
  const Stroke short_one = tapper.strike(pulse_at(1s, 8ms));
  EXPECT_THAT(short_one.contacts, IsEmpty());
  EXPECT_TRUE(short_one.click);
  EXPECT_THAT(tapper.strike(pulse_at(2s, 10ms)).contacts, SizeIs(1));
}

TEST(Tapper, TooLongAPulseStrikesAgain) {
  Tapper tapper = workshop_tapper();
  const Stroke stroke = tapper.strike(pulse_at(1s, 20ms));
  ASSERT_GE(stroke.contacts.size(), 2U);
  EXPECT_LT(stroke.contacts[1].speed_m_s, stroke.contacts[0].speed_m_s);
}

TEST(Tapper, GoesHomeWithAClickSomeMillisecondsAfterTheContact) {
  // physics.md section 1: the return is heard 15 to 25 ms after the contact; a
  // livelier surface throws the plunger back sooner.
  Tapper tapper = workshop_tapper(without_scatter());
  for (const auto on_time : {9500us, 10500us, 11500us, 12500us}) {
    const Stroke stroke = tapper.strike(pulse_at(base::Duration(on_time) * 1000, on_time));
    ASSERT_TRUE(stroke.click);
    const auto since = stroke.click->at - stroke.contacts.at(0).at;
    EXPECT_GT(since, 10ms);
    EXPECT_LT(since, 25ms);
  }
}

TEST(Tapper, AWarmCoilStrikesLaterAndSofterAndAHotOneNotAtAll) {
  Tapper tapper = workshop_tapper(without_scatter());
  const Stroke cold = tapper.strike(pulse_at(0s, 10ms));
  const auto after_seconds_of_heating = [&](base::Duration begin, int seconds) {
    for (int i = 0; i < 20 * seconds; ++i) (void)tapper.strike(pulse_at(begin + i * 50ms, 45ms));
    return tapper.strike(pulse_at(begin + seconds * 1s + 200ms, 10ms));
  };
  const Stroke warm = after_seconds_of_heating(1s, 15);
  EXPECT_GT(warm.coil_c, cold.coil_c + 5.0);
  ASSERT_EQ(warm.contacts.size(), 1U);
  EXPECT_LT(warm.contacts[0].speed_m_s, cold.contacts.at(0).speed_m_s);
  EXPECT_GT(warm.contacts[0].at - warm.pulse.on, cold.contacts.at(0).at - cold.pulse.on);
  const Stroke hot = after_seconds_of_heating(20s, 600);
  EXPECT_GT(hot.coil_c, 60.0);
  EXPECT_THAT(hot.contacts, IsEmpty());
}

TEST(Tapper, ACutPulseIsThePulseThatItBecame) {
  Tapper whole = workshop_tapper();
  Tapper cut = workshop_tapper();
  (void)cut.strike(pulse_at(1s, 20ms));
  const Stroke became = cut.cut(base::segment_start + 1010ms);
  const Stroke meant = whole.strike(pulse_at(1s, 10ms));
  EXPECT_EQ(became.pulse, meant.pulse);
  ASSERT_EQ(became.contacts.size(), meant.contacts.size());
  EXPECT_EQ(became.contacts[0].at, meant.contacts[0].at);
  // And the coil has been heated by no more than that.
  EXPECT_EQ(cut.strike(pulse_at(2s, 10ms)).coil_c, whole.strike(pulse_at(2s, 10ms)).coil_c);
}

TEST(Tapper, APulseThatFindsThePlungerAwayDoesNotLand) {
  Tapper tapper = workshop_tapper(without_scatter());
  EXPECT_THAT(tapper.strike(pulse_at(1s, 11ms)).contacts, SizeIs(1));
  EXPECT_THAT(tapper.strike(pulse_at(1020ms, 11ms)).contacts, IsEmpty());  // on its way home
  EXPECT_THAT(tapper.strike(pulse_at(1200ms, 11ms)).contacts, SizeIs(1));
}

TEST(Tapper, APlungerThatSticksStaysOut) {
  TapperSettings settings = without_scatter();
  settings.solenoid.spring_preload_n = 0.05;
  settings.solenoid.spring_rate_n_m = 0.0;
  settings.solenoid.friction_n = 0.3;
  Tapper tapper = workshop_tapper(settings);
  const Stroke first = tapper.strike(pulse_at(1s, 11ms));
  EXPECT_FALSE(first.contacts.empty());
  EXPECT_FALSE(first.click);
  EXPECT_THAT(tapper.strike(pulse_at(10s, 11ms)).contacts, IsEmpty());
}

TEST(TapperFaults, EveryThirdPulseMisses) {
  TapperSettings settings = workshop_simulation().tapper;
  settings.miss_every = 3;
  Tapper tapper = workshop_tapper(settings);
  for (int n = 1; n <= 9; ++n) {
    EXPECT_EQ(tapper.strike(pulse_at(n * 1s, 10ms)).contacts.empty(), n % 3 == 0) << n;
  }
}

TEST(TapperFaults, EverySecondPulseIsLate) {
  TapperSettings settings = workshop_simulation().tapper;
  settings.late_every = 2;
  settings.late = 300ms;
  Tapper tapper = workshop_tapper(settings);
  const base::Instant start = base::segment_start;
  EXPECT_EQ(tapper.begin_of(start + 1s), start + 1s);
  EXPECT_EQ(tapper.begin_of(start + 2s), start + 2300ms);
  EXPECT_EQ(tapper.begin_of(start + 3s), start + 3s);
}

TEST(TapperFaults, TransitDriftsWithTime) {
  TapperSettings settings = without_scatter();
  Tapper steady = workshop_tapper(settings);
  settings.transit_drift_per_hour = 2ms;
  Tapper drifting = workshop_tapper(settings);
  const base::Pulse pulse = pulse_at(30min, 10ms);
  EXPECT_EQ(drifting.strike(pulse).contacts.at(0).at - steady.strike(pulse).contacts.at(0).at, 1ms);
}

TEST(Blow, IsHarderAndShorterWhenFaster) {
  const Simulation simulation = workshop_simulation();
  const auto slow = blow_of(simulation.tapper, simulation.sensor->surface, 0.4);
  const auto fast = blow_of(simulation.tapper, simulation.sensor->surface, 1.2);
  EXPECT_GT(fast.peak_force_n, 3.0 * slow.peak_force_n);  // F ~ v^1.2
  EXPECT_LT(fast.contact_s, slow.contact_s);              // T ~ v^-0.2
  // Restitution of the material, and the plate carries some away.
  EXPECT_LT(fast.restitution, 0.36);
  EXPECT_GT(fast.restitution, 0.25);
}

}  // namespace
}  // namespace plexor::virtual_rig
