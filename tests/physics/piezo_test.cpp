#include "virtual/physics/piezo.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "physics/drawn.hpp"
#include "physics/recorded_trace.hpp"

namespace plexor::physics {
namespace {

constexpr double pi = 3.14159265358979323846;
constexpr double pulse_c = 100e-9;
constexpr double pulse_s = 0.5e-3;
constexpr double begin_s = 1e-3;

double half_sine_c(double time_s) {
  return time_s <= 0.0 || time_s >= pulse_s ? 0.0 : pulse_c * std::sin(pi * time_s / pulse_s);
}

struct Recorded {
  const char* file;
  double bleed_ohm;
};

class RecordedPulse : public testing::TestWithParam<Recorded> {
 protected:
  DiscCircuit circuit() const {
    return {.capacitance_f = 20e-9, .bleed_ohm = GetParam().bleed_ohm};
  }
  RecordedTrace trace() const { return reference_trace(GetParam().file); }
};

TEST_P(RecordedPulse, IsMatchedByTheClosedFormWithinOnePercent) {
  const RecordedTrace spice = trace();
  const double full_scale = half_sine_peak_v(circuit(), pulse_c, pulse_s);
  double worst = 0.0;
  for (const auto& row : spice.rows) {
    const double time_s = row[0] - begin_s;
    const double ours =
        time_s < 0.0 ? 0.0 : half_sine_voltage_v(circuit(), pulse_c, pulse_s, time_s);
    worst = std::max(worst, std::abs(ours - row[1]));
  }
  RecordProperty("worst_of_full_scale", std::to_string(worst / full_scale));
  EXPECT_LT(worst, 0.01 * full_scale);
}

TEST_P(RecordedPulse, IsMatchedStepByStepWithinOnePercent) {
  const RecordedTrace spice = trace();
  constexpr double step_s = 10e-6;
  const DiscStepper stepper(circuit(), step_s);
  const double full_scale = half_sine_peak_v(circuit(), pulse_c, pulse_s);
  double disc_v = 0.0;
  double worst = 0.0;
  for (int i = 0; i * step_s < spice.end_s() - step_s; ++i) {
    const double from = i * step_s - begin_s;
    disc_v = stepper.after(disc_v, half_sine_c(from + step_s) - half_sine_c(from));
    worst = std::max(worst, std::abs(disc_v - spice.at((i + 1) * step_s)));
  }
  RecordProperty("worst_of_full_scale", std::to_string(worst / full_scale));
  EXPECT_LT(worst, 0.01 * full_scale);
}

INSTANTIATE_TEST_SUITE_P(Ngspice, RecordedPulse,
                         testing::Values(Recorded{"spice_piezo_halfsine.csv", 1e6},
                                         Recorded{"spice_piezo_halfsine_47k.csv", 47e3}));

TEST(DiscStepper, BleedsExactlyInOneStepOrMany) {
  const DiscCircuit circuit{.capacitance_f = 20e-9, .bleed_ohm = 1e6};
  const DiscStepper coarse(circuit, 1e-3);
  const DiscStepper fine(circuit, 1e-5);
  double many = 3.3;
  for (int i = 0; i < 100; ++i) many = fine.after(many, 0.0);
  EXPECT_NEAR(coarse.after(3.3, 0.0), many, 1e-12);
  EXPECT_NEAR(many, bled_voltage_v(circuit, 3.3, 1e-3), 1e-12);
}

TEST(Disc, PassesNoNetChargeSoEveryPulseSwingsBothWays) {
  for (std::uint32_t trial = 0; trial < 50; ++trial) {
    const DiscCircuit circuit{.capacitance_f = drawn(trial, 0, 8e-9, 40e-9),
                              .bleed_ohm = drawn(trial, 1, 20e3, 2e6)};
    const double width_s = drawn(trial, 2, 0.1e-3, 3e-3);
    EXPECT_GT(half_sine_peak_v(circuit, pulse_c, width_s), 0.0);
    EXPECT_LT(half_sine_undershoot_v(circuit, pulse_c, width_s), 0.0);
  }
}

TEST(Clamp, HoldsThePinAndDrawsTheDiscDown) {
  const DiscCircuit circuit{.capacitance_f = 20e-9, .bleed_ohm = 1e6};
  const Clamp clamp{.series_ohm = 47e3, .low_v = -2.5, .high_v = 2.5};
  const DiscStepper open(circuit, 10e-6);
  const DiscStepper clamped(circuit, 10e-6, clamp);
  EXPECT_EQ(clamped.pin_v(50.0), 2.5);
  EXPECT_EQ(clamped.pin_v(-50.0), -2.5);
  EXPECT_EQ(clamped.pin_v(1.0), 1.0);
  EXPECT_LT(clamped.after(50.0, 0.0), open.after(50.0, 0.0));
  EXPECT_EQ(clamped.after(1.0, 1e-9), open.after(1.0, 1e-9));
}

TEST(Clamp, DischargesThroughBothResistors) {
  const DiscCircuit circuit{.capacitance_f = 20e-9, .bleed_ohm = 1e6};
  const DiscStepper stepper(circuit, 10e-6,
                            Clamp{.series_ohm = 47e3, .low_v = -2.5, .high_v = 2.5});
  const double rest = 2.5 / 47e3 / (1.0 / 47e3 + 1.0 / 1e6);
  double disc_v = 50.0;
  for (int i = 0; i < 100; ++i) disc_v = stepper.after(disc_v, 0.0);
  const double tau_s = 20e-9 / (1.0 / 47e3 + 1.0 / 1e6);
  EXPECT_NEAR(disc_v, rest + (50.0 - rest) * std::exp(-1e-3 / tau_s), 1e-9);
}

TEST(Disc, HasItsHandbookCapacitanceAndCharge) {  // 18.9 nF; 10 N give 3.7 nC
  EXPECT_NEAR(capacitance_f(Disc{}), 18.9e-9, 0.05e-9);
  EXPECT_NEAR(charge_c(Disc{}, 10.0), 3.74e-9, 1e-15);
}

TEST(SeismicWeight, LowersTheResonanceAndRaisesTheForce) {  // 4.2 kHz, 1 g + 5 g: 1.71 kHz, 6 times
  EXPECT_NEAR(seismic_resonance_hz(4200.0, 1e-3, 5e-3), 1715.0, 1.0);
  EXPECT_NEAR(seismic_force_n(1e-3, 5e-3, 9.0) / seismic_force_n(1e-3, 0.0, 9.0), 6.0, 1e-12);
}

TEST(Converter, RoundsToTheNearestCodeAndSaturates) {
  const Converter converter{.bits = 10, .reference_v = 5.0};
  EXPECT_EQ(code_of(converter, 0.0), 0);
  EXPECT_EQ(code_of(converter, 2.5), 512);
  EXPECT_EQ(code_of(converter, 0.49 * lsb_v(converter)), 0);
  EXPECT_EQ(code_of(converter, 0.51 * lsb_v(converter)), 1);
  EXPECT_EQ(code_of(converter, 9.0), 1023);
  EXPECT_EQ(code_of(converter, -9.0), 0);
}

TEST(Converter, HasItsNoise) {  // Analog Devices MT-229: 6.02 N + 1.76 dB
  EXPECT_NEAR(full_scale_snr_db({.bits = 10, .reference_v = 5.0}), 61.96, 0.01);
  EXPECT_NEAR(quantisation_noise_v({.bits = 12, .reference_v = 3.3}), 0.2326e-3, 0.0001e-3);
}

TEST(SampledPeak, DependsOnThePhaseAsTheFormulasSay) {
  EXPECT_NEAR(worst_sampled_peak(0.5e-3, 4000.0), 0.707, 0.001);
  EXPECT_NEAR(worst_sampled_peak(0.5e-3, 2000.0), 0.0, 1e-12);
  EXPECT_EQ(worst_sampled_peak(0.5e-3, 1000.0), 0.0);
  double sum = 0.0;
  constexpr int phases = 2000;
  const double step_s = 1.0 / 10000.0;
  for (int i = 0; i < phases; ++i) {  // the sample nearest to the peak
    const double offset_s = step_s * ((i + 0.5) / phases - 0.5);
    sum += std::cos(pi * offset_s / 0.5e-3);
  }
  EXPECT_NEAR(mean_sampled_peak(0.5e-3, 10000.0), sum / phases, 1e-6);
}

}  // namespace
}  // namespace plexor::physics
