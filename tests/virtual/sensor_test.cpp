#include "virtual/sensor.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>

#include "virtual/front_end.hpp"
#include "workshop.hpp"

namespace plexor::virtual_rig {
namespace {

using ::testing::Each;

constexpr base::Duration period = 125us;

double closed_form(const Mode& mode, double amplitude, base::Duration since) {
  const double t = base::to_s(since);
  return amplitude * std::exp(-t / base::to_s(mode.ring)) *
         std::sin(2.0 * std::numbers::pi * mode.ring_hz * t);
}

TEST(Ringing, FollowsTheClosedFormBetweenSamples) {
  const Mode mode{420.0, 20ms, 1.0};
  Ringing ringing(mode, period, 1e-9);
  ringing.excite(100.0, 37us);
  std::vector<double> signal(800);
  ringing.add_to(signal);
  for (std::size_t i = 0; i < signal.size(); ++i) {
    const auto since = 37us + static_cast<int>(i) * period;
    EXPECT_NEAR(signal[i], closed_form(mode, 100.0, since), 1e-9) << i;
  }
}

TEST(Ringing, AddsBlowsUp) {
  const Mode mode{180.0, 30ms, 1.0};
  Ringing ringing(mode, period, 1e-9);
  ringing.excite(100.0, 0us);
  std::vector<double> before(80);
  ringing.add_to(before);
  ringing.excite(50.0, 20us);
  std::vector<double> after(80);
  ringing.add_to(after);
  for (std::size_t i = 0; i < after.size(); ++i) {
    const auto elapsed = static_cast<int>(i) * period;
    EXPECT_NEAR(
        after[i],
        closed_form(mode, 100.0, 80 * period + elapsed) + closed_form(mode, 50.0, 20us + elapsed),
        1e-9);
  }
}

TEST(Ringing, FallsExactlySilentAndIsThenLeftAlone) {
  Ringing ringing({180.0, 5ms, 1.0}, period, 0.001);
  ringing.excite(1.0, 0us);
  std::vector<double> signal(1000);
  ringing.add_to(signal);
  EXPECT_TRUE(ringing.silent());
  EXPECT_EQ(signal.back(), 0.0);
}

TEST(Sensor, HandsOutEachSampleOnceUpToTheEnd) {
  Sensor sensor(*workshop_simulation().sensor, 1);
  const auto first = sensor.listen(base::segment_start + 1ms);  // samples 0 to 7
  EXPECT_EQ(first.count, 8U);
  EXPECT_TRUE(first.signal_mv.empty());
  const auto second = sensor.listen(base::segment_start + 1ms + 1ns);  // sample 8, at 1 ms
  EXPECT_EQ(second.first, 8);
  EXPECT_EQ(second.count, 1U);
  EXPECT_EQ(sensor.listen(base::segment_start + 1s).count, Sensor::block);
}

TEST(Sensor, FasterStrikesRingLouder) {
  SensorSettings settings = *workshop_simulation().sensor;
  settings.surface.amplitude_cv = 0.0;
  const auto peak = [&](double speed) {
    Sensor sensor(settings, 1);
    sensor.strike(speed, base::segment_start);
    const auto signal = sensor.listen(base::segment_start + 20ms).signal_mv;
    return *std::max_element(signal.begin(), signal.end());
  };
  EXPECT_NEAR(peak(1.2), 2.0 * peak(0.6), 1e-9);
}

TEST(Sensor, AStrikeBetweenSamplesKeepsItsPhase) {
  SensorSettings settings = *workshop_simulation().sensor;
  settings.surface.amplitude_cv = 0.0;
  settings.surface.modes = {{420, 14ms, 1.0}};
  Sensor sensor(settings, 1);
  (void)sensor.listen(base::segment_start + 100us);  // sample 0
  sensor.strike(1.0, base::segment_start + 100us);
  const auto stretch = sensor.listen(base::segment_start + 10ms);
  ASSERT_FALSE(stretch.signal_mv.empty());
  EXPECT_NEAR(stretch.signal_mv[0], closed_form(settings.surface.modes[0], 400.0, 25us), 1e-9);
}

TEST(Disturbances, ComeAtTheStatedRateWithTheirBumps) {
  DisturbanceSettings settings;
  settings.per_hour = 60;
  settings.amplitude_mv = 100;
  settings.bumps = 2;
  settings.shortest_gap = 50ms;
  settings.longest_gap = 150ms;
  Disturbance mug(settings, 0, 42);
  base::Instant last = base::segment_start;
  int arrivals = 0;
  while (last < base::segment_start + 100h) {
    const base::Instant first_bump = mug.next();
    EXPECT_EQ(mug.take(), 100.0);
    EXPECT_GE(mug.next() - first_bump, 50ms);
    EXPECT_LE(mug.next() - first_bump, 150ms);
    last = mug.next();
    EXPECT_EQ(mug.take(), 100.0);
    ++arrivals;
  }
  EXPECT_NEAR(arrivals, 6000, 5.0 * std::sqrt(6000.0));
}

struct Moments {
  double mean;
  double sd;
};

Moments moments_of(const std::vector<std::int32_t>& codes) {
  const auto n = static_cast<double>(codes.size());
  const double mean = std::accumulate(codes.begin(), codes.end(), 0.0) / n;
  double squares = 0.0;
  for (const auto code : codes) squares += (code - mean) * (code - mean);
  return {mean, std::sqrt(squares / n)};
}

std::vector<std::int32_t> quiet_codes(const FrontEnd& front_end, std::size_t blocks) {
  std::vector<std::int32_t> codes(blocks * Sensor::block);
  for (std::size_t i = 0; i < blocks; ++i) {
    front_end.convert(static_cast<std::int64_t>(i * Sensor::block), {},
                      std::span(codes).subspan(i * Sensor::block, Sensor::block));
  }
  return codes;
}

TEST(FrontEnd, QuietNoiseRestsAtMidRailWithItsOwnAndTheQuantisersDeviation) {
  const FrontEndSettings settings{
      .rate_hz = 8000, .bits = 12, .reference_mv = 4096, .noise_mv = 1.5};
  const auto codes = quiet_codes(FrontEnd(settings, 1.0, 0, 7), 1000);
  const auto [mean, sd] = moments_of(codes);
  const auto n = static_cast<double>(codes.size());
  // Rounding adds q/sqrt(12) (physics.md section 4, ADC noise).
  const double expected_sd = std::sqrt(1.5 * 1.5 + 1.0 / 12.0);
  EXPECT_NEAR(mean, 2048.0, 5.0 * expected_sd / std::sqrt(n));
  EXPECT_NEAR(sd, expected_sd, 5.0 * expected_sd / std::sqrt(2.0 * n));
}

TEST(FrontEnd, NoiseDependsOnTheSampleAndDeviceOnly) {
  const FrontEndSettings settings = workshop_simulation().sensor->front_end;
  const FrontEnd front_end(settings, 1.0, 0, 7);
  const auto whole = quiet_codes(front_end, 1);
  std::vector<std::int32_t> pieces(whole.size());
  for (std::size_t at = 0, length = 1; at < pieces.size(); at += length, length = length % 5 + 1) {
    length = std::min(length, pieces.size() - at);
    front_end.convert(static_cast<std::int64_t>(at), {}, std::span(pieces).subspan(at, length));
  }
  EXPECT_EQ(pieces, whole);
  EXPECT_NE(quiet_codes(FrontEnd(settings, 1.0, 1, 7), 1), whole);
  EXPECT_NE(quiet_codes(FrontEnd(settings, 1.0, 0, 8), 1), whole);
}

TEST(FrontEnd, ClampsAtTheRails) {
  const FrontEnd front_end(workshop_simulation().sensor->front_end, 1.0, 0, 7);
  std::vector<std::int32_t> codes(64);
  front_end.convert(0, std::vector<double>(64, 1e6), codes);
  EXPECT_THAT(codes, Each(4095));
  front_end.convert(0, std::vector<double>(64, -1e6), codes);
  EXPECT_THAT(codes, Each(0));
}

}  // namespace
}  // namespace plexor::virtual_rig
