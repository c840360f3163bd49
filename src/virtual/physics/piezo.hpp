#pragma once

#include <cstdint>
#include <optional>

namespace plexor::physics {

// A piezoelectric disc under the surface's motion, and what reads it. SI units.

/// A disc with electrodes on both faces.
struct Disc {
  double diameter_m = 0.020;
  double thickness_m = 0.25e-3;
  double relative_permittivity = 1700.0;  ///< PZT-5A: Erturk and Inman, App. E
  double charge_c_n = 374e-12;            ///< d33, PZT-5A: the same
  /// How many times more charge than by straight compression: 1 for a disc that
  /// is squeezed, 10 to 100 for one that bends (common practice, no source).
  double bending_gain = 1.0;
};

/// eps0 eps_r pi d^2 / (4 t). Real discs scatter by 30 %.
[[nodiscard]] double capacitance_f(const Disc& disc);
/// Charge for a force: d33 F, times the bending gain.
[[nodiscard]] double charge_c(const Disc& disc, double force_n);

/// The force on a disc of effective mass m0 that carries a seismic mass m and is
/// shaken below its resonance: (m0 + m) a.
[[nodiscard]] double seismic_force_n(double disc_kg, double seismic_kg, double acceleration_m_s2);
/// The resonance with the mass: f0 sqrt(m0 / (m0 + m)).
[[nodiscard]] double seismic_resonance_hz(double disc_hz, double disc_kg, double seismic_kg);

/// Disc and cable as one capacitance, with a bleed resistor across it.
struct DiscCircuit {
  double capacitance_f = 0.0;
  double bleed_ohm = 0.0;
};

/// 1/(2 pi R C): slower signals fade.
[[nodiscard]] double corner_hz(const DiscCircuit& circuit);
/// v0 exp(-t/(R C))
[[nodiscard]] double bled_voltage_v(const DiscCircuit& circuit, double start_v, double time_s);

/// Voltage a time after the beginning of a half-sine charge pulse, q = Q sin(pi t/T) for
/// 0 <= t <= T and 0 after it. The solution of C v' + v/R = q': bipolar, since
/// no net charge passes.
[[nodiscard]] double half_sine_voltage_v(const DiscCircuit& circuit, double charge_c,
                                         double width_s, double time_s);
/// The highest value of that voltage.
[[nodiscard]] double half_sine_peak_v(const DiscCircuit& circuit, double charge_c, double width_s);
/// The lowest, at the pulse's end.
[[nodiscard]] double half_sine_undershoot_v(const DiscCircuit& circuit, double charge_c,
                                            double width_s);

/// Protection of the converter's input: a resistor from the disc to the pin, and
/// diodes that hold the pin between two voltages. Relative to where the bleed
/// resistor returns to (ground, or half the supply).
struct Clamp {
  double series_ohm = 0.0;
  double low_v = 0.0;
  double high_v = 0.0;
};

/// The disc's voltage from step to step. Exact while the charge moves evenly
/// within a step and the clamp does not begin or cease to conduct in it; steps
/// well below series_ohm * capacitance_f keep the rest small.
class DiscStepper {
 public:
  DiscStepper(const DiscCircuit& circuit, double step_s, std::optional<Clamp> clamp = std::nullopt);

  /// The disc's voltage one step after `disc_v`, when `added_c` of charge came in that step.
  [[nodiscard]] double after(double disc_v, double added_c) const;
  /// What the converter's pin sees: the disc's voltage, between the clamp's.
  [[nodiscard]] double pin_v(double disc_v) const;

 private:
  /// v -> rest + (v - rest) keep + gain q
  struct Decay {
    double keep;
    double gain_v_c;
  };
  static Decay decay(double capacitance_f, double conductance_s, double step_s);

  Decay free_;
  Decay clamped_{};
  double pull_ = 0.0;  ///< share of the clamp voltage at which a conducting clamp leaves the disc
  std::optional<Clamp> clamp_;
};

/// An ideal converter: codes 0 to 2^bits - 1 over 0 to the reference.
struct Converter {
  int bits = 10;
  double reference_v = 5.0;
};

[[nodiscard]] double lsb_v(const Converter& converter);
/// Rounding noise, lsb/sqrt(12).
[[nodiscard]] double quantisation_noise_v(const Converter& converter);
/// Of a full-scale sine: 6.02 N + 1.76 dB (Analog Devices MT-229).
[[nodiscard]] double full_scale_snr_db(const Converter& converter);
/// Nearest code, saturating at both ends.
[[nodiscard]] std::int32_t code_of(const Converter& converter, double voltage_v);

/// Highest sample of a half-sine pulse relative to its peak, for the worst phase:
/// cos(pi Ts/(2 T)), and 0 once a pulse fits between two samples.
[[nodiscard]] double worst_sampled_peak(double width_s, double rate_hz);
/// The mean over all phases, sin(x)/x with x = pi Ts/(2 T). Needs Ts <= T.
[[nodiscard]] double mean_sampled_peak(double width_s, double rate_hz);

}  // namespace plexor::physics
