#include "analysis/signal/tap_signal.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <stdexcept>

#include "analysis/signal/decay.hpp"

namespace plexor::analysis {
namespace {

constexpr std::size_t fewest_ringing_samples = 32;
constexpr double still_ringing_s = 0.01;
constexpr double stronger_than_before = 4.0;  // 6 dB
constexpr std::string_view no_quiet = "too few samples before the first contact";
constexpr std::string_view lost_in_noise = "not clear of the noise";

std::size_t first_sample_of(const TapWindow& window) {
  return static_cast<std::size_t>(std::ceil(window.contact));
}

void check_window(const TapWindow& window) {
  const bool lies_inside = window.contact >= 0.0 && window.end <= window.values.size() &&
                           window.contact <= static_cast<double>(window.end) &&
                           window.quiet <= window.values.size();
  if (!lies_inside || !(window.rate_hz > 0.0)) {
    throw std::domain_error("a tap's window must lie in its wave");
  }
}

/// A rail at which the channel rests (one without a bias) says nothing of clipping.
bool is_at_rail(std::int32_t value, const Rails& rails, const QuietLevel& quiet) {
  const double rest = 4.0 * quiet.noise_rms + 1.0;
  return (value <= rails.lowest && quiet.baseline - rails.lowest > rest) ||
         (value >= rails.highest && rails.highest - quiet.baseline > rest);
}

/// What is found in one pass over the tap's samples.
struct Extent {
  std::size_t peak = 0;
  std::size_t clipped = 0;
  std::size_t after_clipped = 0;         ///< the sample behind the last clipped one
  std::optional<std::size_t> last_seen;  ///< above the noise's reach
};

Extent extent_of(const TapWindow& window, const QuietLevel& quiet) {
  const std::size_t first = first_sample_of(window);
  const double reach = quiet.reach(window.end - first);
  Extent extent{.peak = first, .after_clipped = first, .last_seen = std::nullopt};
  double highest = -1.0;
  for (std::size_t i = first; i < window.end; ++i) {
    const double height = std::abs(window.values[i] - quiet.baseline);
    if (height > highest) {
      highest = height;
      extent.peak = i;
    }
    if (height > reach) extent.last_seen = i;
    if (is_at_rail(window.values[i], window.rails, quiet)) {
      ++extent.clipped;
      extent.after_clipped = i + 1;
    }
  }
  return extent;
}

double seconds_after_contact(const TapWindow& window, std::size_t sample) {
  return (static_cast<double>(sample) - window.contact) / window.rate_hz;
}

/// Whether it is still above the noise where the window ends.
bool goes_on_at_end(const TapWindow& window, std::size_t last_seen) {
  return static_cast<double>(window.end - last_seen) <= still_ringing_s * window.rate_hz;
}

Told<double> ring_down_of(const TapWindow& window, std::size_t last_seen) {
  if (!goes_on_at_end(window, last_seen)) {
    return {.value = seconds_after_contact(window, last_seen + 1), .why_not = {}};
  }
  return {
      .value = std::nullopt,
      .why_not = window.tap_follows ? "the next knock came first" : "the recording ended first"};
}

std::vector<double> less_baseline(std::span<const std::int32_t> values, double baseline) {
  std::vector<double> result(values.begin(), values.end());
  for (double& value : result) value -= baseline;
  return result;
}

/// Hum and the like: lines of the same wave before anything moved.
std::vector<SpectralLine> lines_before(const TapWindow& window, const QuietLevel& quiet,
                                       double& resolution_hz) {
  const auto values = less_baseline(window.values.first(window.quiet), quiet.baseline);
  const Spectrum spectrum = spectrum_of(values, window.rate_hz);
  resolution_hz = spectrum.resolution_hz;
  // What is a line before is so against the rest of what is before.
  std::vector<double> powers = spectrum.power;
  std::ranges::sort(powers);
  const double median_power = powers[powers.size() / 2];
  const double rms = std::sqrt(median_power / std::numbers::ln2 / spectrum.white_power);
  return lines_in(spectrum, clear_of_noise(spectrum, rms));
}

void drop_what_was_before(const TapWindow& window, const QuietLevel& quiet,
                          std::vector<SpectralLine>& lines) {
  double resolution_hz = 0.0;
  const auto before = lines_before(window, quiet, resolution_hz);
  std::erase_if(lines, [&](const SpectralLine& line) {
    return std::ranges::any_of(before, [&](const SpectralLine& hum) {
      return std::abs(hum.hz - line.hz) < resolution_hz &&
             line.power < stronger_than_before * hum.power;
    });
  });
}

void find_lines(const TapWindow& window, std::span<const double> ringing, TapSignal& signal) {
  const QuietLevel& quiet = *signal.quiet;
  const Spectrum spectrum = spectrum_of(ringing, window.rate_hz);
  signal.resolution_hz = spectrum.resolution_hz;
  signal.lines = lines_in(spectrum, clear_of_noise(spectrum, quiet.noise_rms));
  drop_what_was_before(window, quiet, signal.lines);
  if (signal.lines.empty()) signal.why_no_lines = lost_in_noise;
}

void say_nothing(TapSignal& signal, std::string_view why) {
  const std::string reason{why};
  signal.peak.why_not = signal.snr_db.why_not = signal.decay.why_not = reason;
  signal.ring_down_s.why_not = signal.why_no_lines = reason;
}

void find_ringing(const TapWindow& window, const Extent& extent, TapSignal& signal) {
  const RingingPart part = ringing_of(window, signal);
  if (part.values.size() < fewest_ringing_samples) {
    signal.why_no_lines = signal.decay.why_not =
        extent.clipped > 0 ? "clipped: too little is left after the last clipped sample"
                           : "too few samples before it ends";
    return;
  }
  find_lines(window, part.values, signal);
  signal.decay = decay_of({.values = part.values,
                           .rate_hz = window.rate_hz,
                           .noise_rms = signal.quiet->noise_rms,
                           .lines = signal.lines,
                           .tap_follows = window.tap_follows,
                           .goes_on = !signal.ring_down_s,
                           .clipped = extent.clipped > 0});
}

}  // namespace

std::string_view to_text(DecayWay way) {
  switch (way) {
    case DecayWay::successive_peaks: return "successive-peaks";
    case DecayWay::band: return "band";
    case DecayWay::broadband: return "broadband";
  }
  return "";
}

double loss_factor_of(double hz, double time_constant_s) {
  return 1.0 / (std::numbers::pi * hz * time_constant_s);
}

double t60_of(double time_constant_s) { return std::log(1000.0) * time_constant_s; }

TapSignal tap_signal(const TapWindow& window) {
  check_window(window);
  TapSignal signal;
  signal.quiet.value = quiet_level(window.values.first(window.quiet));
  if (!signal.quiet) {
    signal.quiet.why_not = no_quiet;
    say_nothing(signal, no_quiet);
    return signal;
  }
  const QuietLevel& quiet = *signal.quiet;
  const Extent extent = extent_of(window, quiet);
  signal.clipped = extent.clipped;
  if (!extent.last_seen) {
    say_nothing(signal, lost_in_noise);
    return signal;
  }
  const double height = window.values[extent.peak] - quiet.baseline;
  signal.peak.value = Peak{.codes = height,
                           .seconds = seconds_after_contact(window, extent.peak),
                           .is_bound = extent.clipped > 0};
  signal.snr_db.value = 20.0 * std::log10(std::abs(height) / quiet.noise_rms);
  signal.ring_down_s = ring_down_of(window, *extent.last_seen);
  find_ringing(window, extent, signal);
  return signal;
}

RingingPart ringing_of(const TapWindow& window, const TapSignal& signal) {
  if (!signal.peak) return {};
  const QuietLevel& quiet = *signal.quiet;
  const Extent extent = extent_of(window, quiet);
  std::size_t end = window.end;
  if (!goes_on_at_end(window, *extent.last_seen)) {
    const std::size_t length = *extent.last_seen + 1 - first_sample_of(window);
    end = std::min(end, *extent.last_seen + 1 + std::max(length, fewest_ringing_samples));
  }
  if (extent.after_clipped >= end) return {.first = end, .values = {}};
  return {
      .first = extent.after_clipped,
      .values = less_baseline(
          window.values.subspan(extent.after_clipped, end - extent.after_clipped), quiet.baseline)};
}

}  // namespace plexor::analysis
