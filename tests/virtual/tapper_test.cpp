#include "virtual/tapper.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "workshop.hpp"

namespace plexor::virtual_rig {
namespace {

Tapper workshop_tapper(const TapperSettings& settings = workshop_simulation().tapper) {
  return Tapper(*workshop_rig().calibration, settings, 1);
}

base::Pulse pulse_at(base::Duration on, base::Duration on_time) {
  return {base::segment_start + on, on_time};
}

TEST(Tapper, StrikesAtTheCalibratedSpeed) {
  const rig::RigFile rig = workshop_rig();
  for (const std::int64_t um_s : {200'000, 350'000, 720'000, 900'000, 1'600'000}) {
    const auto drive = rig.calibration->at({um_s});
    const auto speed = workshop_tapper().speed_of(drive.on_time);
    ASSERT_TRUE(speed);
    EXPECT_NEAR(*speed, static_cast<double>(um_s) / 1e6, 1e-6);
  }
}

TEST(Tapper, ScattersTheTransitAboutTheCalibratedOne) {
  Tapper tapper = workshop_tapper();
  constexpr int n = 4000;
  double sum = 0.0;
  double squares = 0.0;
  for (int i = 0; i < n; ++i) {
    const Stroke stroke = tapper.strike(pulse_at(i * 1s, 10ms), base::segment_start);
    const double off_us = base::to_ms(stroke.first->at - stroke.actual.on - 17500us) * 1e3;
    sum += off_us;
    squares += off_us * off_us;
  }
  EXPECT_NEAR(sum / n, 0.0, 5.0 * 150.0 / std::sqrt(n));
  // Truncation at 3 sd takes 1.3 % off the deviation.
  EXPECT_NEAR(std::sqrt(squares / n), 150.0 * 0.987, 5.0 * 150.0 / std::sqrt(2.0 * n));
}

TEST(Tapper, TooShortAPulseNeverLands) {
  EXPECT_FALSE(workshop_tapper().strike(pulse_at(1s, 3ms), base::segment_start).first);
  EXPECT_TRUE(workshop_tapper().strike(pulse_at(1s, 5ms), base::segment_start).first);
}

TEST(Tapper, TooLongAPulseStrikesTwice) {
  TapperSettings settings = workshop_simulation().tapper;
  settings.re_strike = 20ms;
  Tapper tapper = workshop_tapper(settings);
  EXPECT_FALSE(tapper.strike(pulse_at(1s, 20ms), base::segment_start).second);
  const Stroke twice = tapper.strike(pulse_at(2s, 21ms), base::segment_start);
  ASSERT_TRUE(twice.second);
  EXPECT_EQ(twice.second->at - twice.first->at, 25ms);
  EXPECT_LT(twice.second->speed_m_s, twice.first->speed_m_s);
}

TEST(TapperFaults, EveryThirdPulseMisses) {
  TapperSettings settings = workshop_simulation().tapper;
  settings.miss_every = 3;
  Tapper tapper = workshop_tapper(settings);
  for (int n = 1; n <= 9; ++n) {
    const Stroke stroke = tapper.strike(pulse_at(n * 1s, 10ms), base::segment_start);
    EXPECT_EQ(stroke.first.has_value(), n % 3 != 0) << n;
  }
}

TEST(TapperFaults, EverySecondPulseIsLateAndPushesTheNextOne) {
  TapperSettings settings = workshop_simulation().tapper;
  settings.late_every = 2;
  settings.late = 300ms;
  Tapper tapper = workshop_tapper(settings);
  const base::Instant start = base::segment_start;
  EXPECT_EQ(tapper.strike(pulse_at(1s, 10ms), start).actual.on, start + 1s);
  const Stroke late = tapper.strike(pulse_at(2s, 10ms), start);
  EXPECT_EQ(late.actual.on, start + 2300ms);
  EXPECT_EQ(late.actual.on_time, 10ms);
  EXPECT_EQ(tapper.strike(pulse_at(2200ms, 10ms), late.actual.off()).actual.on, start + 2310ms);
}

TEST(TapperFaults, TransitDriftsWithTime) {
  TapperSettings settings = workshop_simulation().tapper;
  settings.transit_sd = 0ms;
  settings.transit_drift_per_hour = 2ms;
  Tapper tapper = workshop_tapper(settings);
  const Stroke stroke = tapper.strike(pulse_at(30min, 10ms), base::segment_start);
  EXPECT_NEAR(base::to_ms(stroke.first->at - stroke.actual.on), 17.5 + 1.0, 1e-5);
}

}  // namespace
}  // namespace plexor::virtual_rig
