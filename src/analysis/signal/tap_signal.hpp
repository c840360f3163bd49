#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "analysis/intervals.hpp"
#include "analysis/signal/quiet_level.hpp"
#include "analysis/signal/spectrum.hpp"

// What one tap looks like on a channel that streams samples.

namespace plexor::analysis {

/// The codes at which a converter, or the clamp before it, can say no more.
struct Rails {
  std::int32_t lowest = 0;
  std::int32_t highest = 0;
};

/// Where one tap lies in a recorded wave. Positions count samples from the wave's first one.
struct TapWindow {
  std::span<const std::int32_t> values{};  ///< of the whole wave
  double rate_hz = 0.0;
  std::size_t quiet = 0;     ///< so many from the begin were taken before anything moved
  double contact = 0.0;      ///< of this tap; may lie between samples
  std::size_t end = 0;       ///< first sample of the next tap, or values.size()
  bool tap_follows = false;  ///< whether `end` is the next tap's
  Rails rails{};
};

/// A figure, or in plain words why there is none.
template <typename Value>
struct Told {
  std::optional<Value> value{};
  std::string why_not{};  ///< "the next knock came first"; empty where there is a value

  explicit operator bool() const { return value.has_value(); }
  const Value& operator*() const { return *value; }
  const Value* operator->() const { return &*value; }
};

/// How a decay was measured.
enum class DecayWay : std::uint8_t {
  successive_peaks,  ///< logarithmic decrement: half the way from peak to peak, of a single mode
  band,              ///< slope of the logarithm of the amplitude in a band around one mode
  broadband,         ///< slope of the logarithm of the energy of all modes, in bins of time
};
[[nodiscard]] std::string_view to_text(DecayWay way);

/// Amplitudes fall as exp(-t / time_constant). Intervals are two-sided 95 %, from how the points
/// scatter about the straight line through their logarithms; they know nothing of what is wrong
/// with the model (energy that wanders between modes).
struct Decay {
  DecayWay way = DecayWay::broadband;
  double time_constant_s = 0.0;
  Interval time_constant_interval{};
  double t60_s = 0.0;  ///< to 1/1000: ln(1000) times the time constant
  /// Of the mode that decays so: the dominant one, or the strongest that has a band to itself.
  /// Nothing for several modes together, whose pace is no single loss factor's: the high ones die
  /// away first.
  std::optional<double> hz{};
  /// 1 / (pi f tau), where `hz` is known.
  std::optional<double> loss_factor{};
  std::optional<Interval> loss_factor_interval{};
  double fall_db = 0.0;  ///< over which it was measured
};

struct Peak {
  double codes = 0.0;     ///< from the baseline, with its sign
  double seconds = 0.0;   ///< after the contact
  bool is_bound = false;  ///< clipped: it was at least so high
};

/// Everything said about one tap.
struct TapSignal {
  Told<QuietLevel> quiet{};
  std::size_t clipped = 0;  ///< samples at the rails (not at one where the channel rests)
  Told<Peak> peak{};        ///< only where it is clear of the noise
  Told<double> snr_db{};  ///< peak over the noise's rms; at least so much where the peak is a bound
  /// Lines of the spectrum that are clear of the noise and were not there before the contact,
  /// strongest first. After the last clipped sample.
  std::vector<SpectralLine> lines{};
  std::string why_no_lines{};  ///< empty where there are lines
  double resolution_hz = 0.0;  ///< two modes nearer than that are one line; 0 without a spectrum
  Told<Decay> decay{};
  /// From the contact until nothing more of it is seen above the noise (QuietLevel::reach).
  Told<double> ring_down_s{};
};

/// Throws std::domain_error for a window that does not lie in its wave, or a rate that is not
/// positive.
[[nodiscard]] TapSignal tap_signal(const TapWindow& window);

/// The part of a window that spectrum and decay are taken from, less the baseline: after the last
/// clipped sample, until the ringing has gone down (and as long again, or to the end). Empty where
/// nothing clear is left.
struct RingingPart {
  std::size_t first = 0;  ///< sample
  std::vector<double> values{};
};
[[nodiscard]] RingingPart ringing_of(const TapWindow& window, const TapSignal& signal);

// Loss factor from a time constant, and back.

[[nodiscard]] double loss_factor_of(double hz, double time_constant_s);
[[nodiscard]] double t60_of(double time_constant_s);

}  // namespace plexor::analysis
