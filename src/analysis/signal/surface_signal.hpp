#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <utility>
#include <vector>

#include "analysis/intervals.hpp"
#include "analysis/signal/straight_line.hpp"
#include "analysis/signal/tap_signal.hpp"

// What many taps on one spot look like on one channel.

namespace plexor::analysis {

/// The median of one figure over the taps that have it, with its two-sided 95 % interval by order
/// statistics (ends may be infinite for few taps).
struct MiddleOf {
  std::uint64_t taps = 0;
  double median = 0.0;
  Interval interval{};
};

/// ln |peak| = intercept + slope ln(strike speed in m/s), by least squares: the peak grows as the
/// speed to the power of the slope. Clipped taps are left out.
struct PeakAgainstStrike {
  StraightLine line{};
  Interval slope_interval{};  ///< two-sided 95 %

  /// Middle of the peaks at this speed, in codes, and its two-sided 95 % interval.
  [[nodiscard]] double peak_at(double strike_m_s) const;
  [[nodiscard]] Interval peak_interval_at(double strike_m_s) const;
};

/// A line of the averaged spectrum.
struct SurfaceLine {
  double hz = 0.0;
  double db = 0.0;         ///< relative to the strongest
  std::uint64_t taps = 0;  ///< that have a line of their own within the resolution
};

/// Time after which this share of taps had died away. Taps that were not seen to do so count as
/// never, so the median may be missing where high quantiles would mislead.
struct RingDownQuantile {
  double p = 0.0;
  std::optional<double> seconds{};  ///< nothing where it falls among taps not seen to the end
  Interval interval{};              ///< two-sided 95 %, order statistics
};

inline constexpr std::size_t most_chart_points = 400;

struct SurfaceSignal {
  std::uint64_t taps = 0;
  std::uint64_t clear = 0;    ///< of the noise
  std::uint64_t clipped = 0;  ///< with any sample at a rail
  std::optional<MiddleOf> noise_rms{};
  std::optional<MiddleOf> peak_codes{};  ///< without sign; clipped ones count with their bound
  std::uint64_t upwards = 0;             ///< clear taps whose peak lies above the baseline
  std::optional<MiddleOf> snr_db{};
  std::optional<MiddleOf> contact_to_peak_s{};
  std::optional<MiddleOf> time_constant_s{};
  std::optional<MiddleOf> loss_factor{};
  std::optional<MiddleOf> t60_s{};
  std::optional<PeakAgainstStrike> strength{};  ///< nothing for fewer than 3 taps or one speed
  std::vector<RingDownQuantile> ring_down{};    ///< of clear taps: 50, 90, 95, 99 %

  /// (Hz, dB relative to the strongest line): each the highest of its part of the spectrum, which
  /// is the mean over clear taps, each relative to its peak.
  std::vector<std::pair<double, double>> spectrum{};
  double spectrum_floor_db = 0.0;  ///< of the noise before the knocks
  double resolution_hz = 0.0;      ///< median over taps
  /// Lines of that mean which at least a fifth of the taps have too, strongest first.
  std::vector<SurfaceLine> lines{};

  /// (seconds after the contact, rms codes in a bin around it): median over the clear taps, as far
  /// as half of them reach.
  std::vector<std::pair<double, double>> decay_curve{};
};

/// A fold over the taps of one channel and spot.
class SurfaceTally {
 public:
  /// Analyses the tap, keeps what the summary needs (a few kilobytes), and returns its signal.
  /// Throws what tap_signal does, and std::domain_error for another rate than before or a strike
  /// speed that is not positive.
  TapSignal take(const TapWindow& window, double strike_m_s);

  [[nodiscard]] SurfaceSignal finish() const;

 private:
  void add_spectrum(const TapWindow& window, const TapSignal& signal);
  void add_decay(const TapWindow& window, double baseline);
  void give_lines(SurfaceSignal& surface) const;
  void give_decay_curve(SurfaceSignal& surface) const;

  struct OneTap {
    TapSignal signal;
    double strike_m_s = 0.0;
  };
  std::vector<OneTap> taps_;
  double rate_hz_ = 0.0;
  std::vector<double> power_;  ///< sum over taps, each relative to its peak's square
  double noise_power_ = 0.0;   ///< of white noise, in the same way
  double step_hz_ = 0.0;
  std::uint64_t spectra_ = 0;
  std::vector<std::vector<float>> decays_;  ///< mean square in bins of a millisecond, by tap
};

}  // namespace plexor::analysis
