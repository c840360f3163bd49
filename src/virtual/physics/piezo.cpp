#include "virtual/physics/piezo.hpp"

#include <algorithm>
#include <cmath>

#include "virtual/physics/elementary.hpp"

namespace plexor::physics {

namespace {

constexpr double eps0_f_m = 8.8541878128e-12;

/// q' - v/R during a half-sine pulse: the sign of the voltage's slope.
double charging_a(const DiscCircuit& circuit, double charge_c, double width_s, double time_s) {
  const double current = charge_c * pi / width_s * sin_cos_turns(0.5 * time_s / width_s).cos;
  return current - half_sine_voltage_v(circuit, charge_c, width_s, time_s) / circuit.bleed_ohm;
}

}  // namespace

double capacitance_f(const Disc& disc) {
  return eps0_f_m * disc.relative_permittivity * pi * disc.diameter_m * disc.diameter_m /
         (4.0 * disc.thickness_m);
}

double charge_c(const Disc& disc, double force_n) {
  return disc.bending_gain * disc.charge_c_n * force_n;
}

double seismic_force_n(double disc_kg, double seismic_kg, double acceleration_m_s2) {
  return (disc_kg + seismic_kg) * acceleration_m_s2;
}

double seismic_resonance_hz(double disc_hz, double disc_kg, double seismic_kg) {
  return disc_hz * std::sqrt(disc_kg / (disc_kg + seismic_kg));
}

double corner_hz(const DiscCircuit& circuit) {
  return 1.0 / (2.0 * pi * circuit.bleed_ohm * circuit.capacitance_f);
}

double bled_voltage_v(const DiscCircuit& circuit, double start_v, double time_s) {
  return start_v * exponential_of(-time_s / (circuit.bleed_ohm * circuit.capacitance_f));
}

double half_sine_voltage_v(const DiscCircuit& circuit, double charge_c, double width_s,
                           double time_s) {
  if (time_s > width_s) {
    return bled_voltage_v(circuit, half_sine_voltage_v(circuit, charge_c, width_s, width_s),
                          time_s - width_s);
  }
  const double w = pi / width_s;
  const double rate = 1.0 / (circuit.bleed_ohm * circuit.capacitance_f);
  const SinCos angle = sin_cos_turns(0.5 * time_s / width_s);
  const double shape = rate * angle.cos + w * angle.sin - rate * exponential_of(-rate * time_s);
  return charge_c * w / circuit.capacitance_f * shape / (w * w + rate * rate);
}

double half_sine_peak_v(const DiscCircuit& circuit, double charge_c, double width_s) {
  double rising = 0.0;
  double falling = width_s;
  for (int i = 0; i < 60; ++i) {
    const double middle = 0.5 * (rising + falling);
    const bool rises = charging_a(circuit, charge_c, width_s, middle) > 0.0;
    (rises ? rising : falling) = middle;
  }
  return half_sine_voltage_v(circuit, charge_c, width_s, rising);
}

double half_sine_undershoot_v(const DiscCircuit& circuit, double charge_c, double width_s) {
  return half_sine_voltage_v(circuit, charge_c, width_s, width_s);
}

DiscStepper::Decay DiscStepper::decay(double capacitance_f, double conductance_s, double step_s) {
  const double time_constant_s = capacitance_f / conductance_s;
  const double keep = exponential_of(-step_s / time_constant_s);
  return {keep, time_constant_s / step_s * (1.0 - keep) / capacitance_f};
}

DiscStepper::DiscStepper(const DiscCircuit& circuit, double step_s, std::optional<Clamp> clamp)
    : free_(decay(circuit.capacitance_f, 1.0 / circuit.bleed_ohm, step_s)), clamp_(clamp) {
  if (!clamp_) return;
  const double series_s = 1.0 / clamp_->series_ohm;
  const double both_s = series_s + 1.0 / circuit.bleed_ohm;
  clamped_ = decay(circuit.capacitance_f, both_s, step_s);
  pull_ = series_s / both_s;
}

double DiscStepper::after(double disc_v, double added_c) const {
  const double pin = pin_v(disc_v);
  if (pin == disc_v) return disc_v * free_.keep + added_c * free_.gain_v_c;
  const double rest_v = pull_ * pin;
  return rest_v + (disc_v - rest_v) * clamped_.keep + added_c * clamped_.gain_v_c;
}

double DiscStepper::pin_v(double disc_v) const {
  return clamp_ ? std::clamp(disc_v, clamp_->low_v, clamp_->high_v) : disc_v;
}

double lsb_v(const Converter& converter) {
  return converter.reference_v / static_cast<double>(std::int64_t{1} << converter.bits);
}

double quantisation_noise_v(const Converter& converter) {
  return lsb_v(converter) / std::sqrt(12.0);
}

double full_scale_snr_db(const Converter& converter) {
  // 10 lg(1.5 * 4^N): a sine of half the range over lsb^2/12.
  constexpr double db_per_neper_of_power = 4.342944819032518;
  const double steps = static_cast<double>(std::int64_t{1} << converter.bits);
  return db_per_neper_of_power * natural_log(1.5 * steps * steps);
}

std::int32_t code_of(const Converter& converter, double voltage_v) {
  const double highest = static_cast<double>((std::int64_t{1} << converter.bits) - 1);
  const double code = std::floor(voltage_v / lsb_v(converter) + 0.5);
  return static_cast<std::int32_t>(std::clamp(code, 0.0, highest));
}

double worst_sampled_peak(double width_s, double rate_hz) {
  const double samples = width_s * rate_hz;
  return samples <= 1.0 ? 0.0 : sin_cos_turns(0.25 / samples).cos;
}

double mean_sampled_peak(double width_s, double rate_hz) {
  const double x = pi / (2.0 * width_s * rate_hz);
  return sin_cos_turns(0.25 / (width_s * rate_hz)).sin / x;
}

}  // namespace plexor::physics
