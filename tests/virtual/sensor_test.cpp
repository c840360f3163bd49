#include "virtual/sensor.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <numeric>

#include "virtual/physics/impact.hpp"
#include "workshop.hpp"

namespace plexor::virtual_rig {
namespace {

constexpr base::Duration sample_period = 125us;

double closed_form(double hz, double decay_s, double amplitude, base::Duration since) {
  const double t = base::to_s(since);
  return amplitude * std::exp(-t / decay_s) * std::sin(2.0 * std::numbers::pi * hz * t);
}

TEST(Ringing, FollowsTheClosedFormBetweenSamples) {
  Ringing ringing(420.0, 0.020, sample_period, 1e-9);
  ringing.excite({100.0, 0.0}, 37us);
  std::vector<double> signal(800);
  ringing.add_to(signal);
  for (std::size_t i = 0; i < signal.size(); ++i) {
    const auto since = 37us + static_cast<int>(i) * sample_period;
    EXPECT_NEAR(signal[i], closed_form(420.0, 0.020, 100.0, since), 1e-9) << i;
  }
}

TEST(Ringing, AddsBlowsUpAndTurnsTheirPhase) {
  Ringing ringing(180.0, 0.030, sample_period, 1e-9);
  ringing.excite({100.0, 0.0}, 0us);
  std::vector<double> before(80);
  ringing.add_to(before);
  ringing.excite({0.0, 50.0}, 20us);
  std::vector<double> after(80);
  ringing.add_to(after);
  for (std::size_t i = 0; i < after.size(); ++i) {
    const auto elapsed = static_cast<int>(i) * sample_period;
    const double t = base::to_s(20us + elapsed);
    const double cosine =
        50.0 * std::exp(-t / 0.030) * std::cos(2.0 * std::numbers::pi * 180.0 * t);
    EXPECT_NEAR(after[i], closed_form(180.0, 0.030, 100.0, 80 * sample_period + elapsed) + cosine,
                1e-9);
  }
}

TEST(Ringing, FallsExactlySilentAndIsThenLeftAlone) {
  Ringing ringing(180.0, 0.005, sample_period, 0.001);
  ringing.excite({1.0, 0.0}, 0us);
  std::vector<double> signal(1000);
  ringing.add_to(signal);
  EXPECT_TRUE(ringing.silent());
  EXPECT_EQ(signal.back(), 0.0);
}

/// A sensor sampled finely enough to see every mode.
SensorSettings fine_settings() {
  SensorSettings settings = *workshop_simulation().sensor;
  settings.front_end.rate_hz = 100'000;
  return settings;
}

std::vector<double> signal_until(Sensor& sensor, base::Instant end) {
  std::vector<double> signal;
  while (sensor.next_sample_at() < end) {
    const auto stretch = sensor.listen(end);
    if (stretch.signal_mv.empty()) {
      signal.insert(signal.end(), stretch.count, 0.0);
    } else {
      signal.insert(signal.end(), stretch.signal_mv.begin(), stretch.signal_mv.end());
    }
  }
  return signal;
}

double peak(const std::vector<double>& signal) {
  double highest = 0.0;
  for (const double value : signal) highest = std::max(highest, std::abs(value));
  return highest;
}

std::vector<double> struck(const SensorSettings& settings, double impulse_ns,
                           double contact_s = 0.3e-3) {
  Sensor sensor(settings, 1);
  sensor.strike(physics::half_sine_pulse(impulse_ns, contact_s), base::segment_start);
  return signal_until(sensor, base::segment_start + 300ms);
}

TEST(Sensor, HandsOutEachSampleOnceUpToTheEndOrTheBlocks) {
  Sensor sensor(*workshop_simulation().sensor, 1);
  const auto first = sensor.listen(base::segment_start + 1ms);  // samples 0 to 7
  EXPECT_EQ(first.count, 8U);
  EXPECT_TRUE(first.signal_mv.empty());
  const auto second = sensor.listen(base::segment_start + 1ms + 1ns);  // sample 8, at 1 ms
  EXPECT_EQ(second.first, 8);
  EXPECT_EQ(second.count, 1U);
  EXPECT_EQ(sensor.listen(base::segment_start + 1s).count, Sensor::block - 9);
  EXPECT_EQ(sensor.listen(base::segment_start + 1s).count, Sensor::block);
}

TEST(Sensor, IsLinearBelowTheClamp) {
  EXPECT_NEAR(peak(struck(fine_settings(), 0.012)), 2.0 * peak(struck(fine_settings(), 0.006)),
              1e-6);
}

TEST(Sensor, TheClampHoldsThePinWithinTheRails) {
  const auto hit = struck(fine_settings(), 5.0);
  EXPECT_LE(peak(hit), 3300.0 / 2 + 300.0 + 1e-9);
  EXPECT_GT(peak(hit), 1900.0);
}

TEST(Sensor, CarriesNoNetChargeSoThatItsSignalIsBipolar) {
  const auto signal = struck(fine_settings(), 0.015);
  EXPECT_GT(*std::ranges::max_element(signal), 10.0);
  EXPECT_LT(*std::ranges::min_element(signal), -10.0);
}

TEST(Sensor, ShortBlowsRingHigher) {
  // The half sine's first zero lies at 1.5/T: a soft tip leaves only the low modes.
  const auto crossings = [](const std::vector<double>& signal) {
    int count = 0;
    for (std::size_t i = 1; i < 1000; ++i) count += signal[i - 1] * signal[i] < 0.0 ? 1 : 0;
    return count;
  };
  EXPECT_GT(crossings(struck(fine_settings(), 0.015, 0.1e-3)),
            2 * crossings(struck(fine_settings(), 0.015, 3e-3)));
}

TEST(Sensor, RingsDownWithTheLossFactor) {
  // The lowest mode is left at the end: its amplitude falls as exp(-pi f eta t) (physics.md section
  // 3).
  SensorSettings settings = fine_settings();
  settings.surface.plate.mounting_loss = 0.01;
  const auto signal = struck(settings, 0.05);
  const physics::Plate& plate = settings.surface.plate;
  const double decay =
      physics::amplitude_decay_s(physics::mode_hz(plate, 1, 1), physics::loss_factor(plate));
  const auto peak_between = [&](double from_s, double to_s) {
    return peak({signal.begin() + static_cast<std::ptrdiff_t>(from_s * 1e5),
                 signal.begin() + static_cast<std::ptrdiff_t>(to_s * 1e5)});
  };
  const double ratio = peak_between(0.20, 0.22) / peak_between(0.26, 0.28);
  EXPECT_NEAR(ratio, std::exp(0.06 / decay), 0.15 * ratio);
}

/// How much of a frequency is in a signal of 100 kHz.
double content(const std::vector<double>& signal, double hz) {
  double real = 0.0;
  double imaginary = 0.0;
  for (std::size_t i = 0; i < signal.size(); ++i) {
    const double angle = 2.0 * std::numbers::pi * hz * static_cast<double>(i) / 100'000.0;
    real += signal[i] * std::cos(angle);
    imaginary += signal[i] * std::sin(angle);
  }
  return std::hypot(real, imaginary);
}

TEST(Sensor, ANodalLineHearsNothingOfItsMode) {
  // A sensor on the middle line sees no mode with an even number of half waves along the plate.
  SensorSettings settings = fine_settings();
  settings.surface.plate.mounting_loss = 0.005;
  settings.surface.tap = {0.30, 0.25};
  settings.surface.sensor = {0.60, 0.25};
  const auto on_the_line = struck(settings, 0.015);
  settings.surface.sensor = {0.40, 0.25};
  const auto beside_it = struck(settings, 0.015);
  const double node_hz = physics::mode_hz(settings.surface.plate, 2, 1);
  const double other_hz = physics::mode_hz(settings.surface.plate, 1, 1);
  EXPECT_GT(content(beside_it, node_hz), 10.0 * content(on_the_line, node_hz))
      << "what is left there is the other modes' skirts";
  EXPECT_GT(content(on_the_line, other_hz), content(beside_it, other_hz));  // nearer its middle
}

TEST(Sensor, PickUpIsAStepThatBleedsAway) {
  SensorSettings settings = fine_settings();
  Sensor sensor(settings, 1);
  sensor.pick_up(100.0);
  const auto signal = signal_until(sensor, base::segment_start + 60ms);
  EXPECT_NEAR(signal[0], 100.0, 0.1);
  // R C = 1 Mohm * 18.9 nF = 18.9 ms (physics.md section 4: about 20 ms).
  const double rc = settings.disc.circuit().bleed_ohm * settings.disc.circuit().capacitance_f;
  EXPECT_NEAR(signal[2000] / signal[0], std::exp(-0.020 / rc), 1e-3);
}

TEST(Sensor, ASeismicMassMakesItMoreSensitive) {
  // 1 g effective plus 5 g: six times the force below resonance (physics.md section 4).
  SensorSettings bare = fine_settings();
  bare.disc.seismic_kg = 0.0;
  const double gain = peak(struck(fine_settings(), 0.015, 5e-3)) / peak(struck(bare, 0.015, 5e-3));
  EXPECT_GT(gain, 5.5);
  EXPECT_LT(gain, 8.0);  // nearer to the loaded disc's own resonance
}

TEST(Disturbances, ComeAtTheStatedRateWithTheirBumps) {
  DisturbanceSettings settings;
  settings.per_hour = 60;
  settings.bumps = 2;
  settings.shortest_gap = 50ms;
  settings.longest_gap = 150ms;
  Disturbance mug(settings, 0, 42);
  base::Instant last = base::segment_start;
  int arrivals = 0;
  while (last < base::segment_start + 100h) {
    const base::Instant first_bump = mug.next();
    EXPECT_EQ(mug.take(), 1.0);
    EXPECT_GE(mug.next() - first_bump, 50ms);
    EXPECT_LE(mug.next() - first_bump, 150ms);
    last = mug.next();
    EXPECT_EQ(mug.take(), 1.0);
    ++arrivals;
  }
  EXPECT_NEAR(arrivals, 6000, 5.0 * std::sqrt(6000.0));
}

TEST(Disturbances, BlowsRingTheSurfaceAndTremorsShakeTheSensor) {
  SensorSettings settings = fine_settings();
  const auto peak_of = [&](const std::variant<Tremor, Blow>& cause) {
    settings.disturbances = {{.name = "one", .per_hour = 3600, .cause = cause}};
    Sensor sensor(settings, 1);
    (void)signal_until(sensor, sensor.next_disturbance());
    EXPECT_EQ(sensor.disturb(), 0U);
    return peak(signal_until(sensor, sensor.next_sample_at() + 100ms));
  };
  EXPECT_NEAR(peak_of(Tremor{50.0, 25.0, 200ms}), 50.0, 5.0);
  const double near = peak_of(Blow{0.012, 1ms, {0.46, 0.30}});
  const double at_the_edge = peak_of(Blow{0.012, 1ms, {1.19, 0.01}});
  EXPECT_GT(near, 10.0 * at_the_edge);  // an edge that is held does not move
}

}  // namespace
}  // namespace plexor::virtual_rig
