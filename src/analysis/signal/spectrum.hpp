#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace plexor::analysis {

/// What a ringing is made of. The values are weighted with the falling half of a Hann window: full
/// weight where the ringing begins, none where the record ends; and padded with zeros.
struct Spectrum {
  double step_hz = 0.0;         ///< between points, the first at 0
  double resolution_hz = 0.0;   ///< two lines nearer than that can't be told apart: 2 / length
  double white_power = 0.0;     ///< expected at each point of white noise with rms 1
  std::vector<double> power{};  ///< a lasting sine of amplitude A has A^2 at its frequency
};

/// `values` are less their baseline. Needs at least 16 of them. Padded to at least four times
/// their length; or, where `points` is given, to that many points (a power of 2 not below their
/// number), to bring spectra of different lengths together.
[[nodiscard]] Spectrum spectrum_of(std::span<const double> values, double rate_hz,
                                   std::size_t points = 0);

struct SpectralLine {
  double hz = 0.0;     ///< between the points, by a parabola through the logarithms of three
  double power = 0.0;  ///< as in Spectrum
};

/// The lines that stand clear, strongest first, at most 8. Clear is a maximum of at least
/// `clear_power`, less than 40 dB below the strongest, farther than the resolution from each
/// stronger one (and from 0), with a valley of 6 dB and of the amplitude that is clear between.
[[nodiscard]] std::vector<SpectralLine> lines_in(const Spectrum& spectrum, double clear_power);

/// Power that white noise of this rms exceeds anywhere in the spectrum in 1 % of cases.
[[nodiscard]] double clear_of_noise(const Spectrum& spectrum, double noise_rms);

/// Amplitude over time of what lies near one frequency: a Gaussian band (`sd_hz` wide) around it,
/// by the analytic signal. One value for each of `values`; a decaying oscillation keeps its time
/// constant, except within 3 / (2 pi sd_hz) of either end.
[[nodiscard]] std::vector<double> band_amplitude(std::span<const double> values, double rate_hz,
                                                 double hz, double sd_hz);
/// Its expected square for white noise of rms 1.
[[nodiscard]] double band_noise_power(double rate_hz, double hz, double sd_hz);

}  // namespace plexor::analysis
