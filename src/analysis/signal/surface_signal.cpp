#include "analysis/signal/surface_signal.hpp"

#include <algorithm>
#include <boost/math/distributions/gamma.hpp>
#include <cmath>
#include <limits>
#include <stdexcept>

#include "analysis/figures.hpp"
#include "analysis/latency.hpp"

namespace plexor::analysis {
namespace {

constexpr std::size_t spectrum_points = 16'384;
constexpr std::size_t longest_part = spectrum_points;
constexpr double decay_bin_s = 0.001;
constexpr std::size_t most_decay_bins = 4000;
constexpr double false_mean_line_share = 0.01;
constexpr std::uint64_t one_tap_in = 5;  // must have a line, too

double decibels_of_power(double ratio) { return 10.0 * std::log10(std::max(ratio, 1e-30)); }

std::optional<MiddleOf> middle_of_taps(std::vector<double> values) {
  if (values.empty()) return std::nullopt;
  std::ranges::sort(values);
  return MiddleOf{.taps = values.size(),
                  .median = *quantile_type7(values, 0.5),
                  .interval = *median_interval(values)};
}

/// The median of what `pick` finds in the taps that have it.
template <typename Taps, typename Pick>
std::optional<MiddleOf> middle_over(const Taps& taps, Pick pick) {
  std::vector<double> values;
  for (const auto& tap : taps) {
    if (const std::optional<double> value = pick(tap.signal)) values.push_back(*value);
  }
  return middle_of_taps(std::move(values));
}

template <typename Taps>
std::vector<RingDownQuantile> ring_down_over(const Taps& taps) {
  constexpr double never = std::numeric_limits<double>::infinity();
  std::vector<double> seconds;
  for (const auto& tap : taps) {
    if (tap.signal.peak) seconds.push_back(tap.signal.ring_down_s.value.value_or(never));
  }
  std::ranges::sort(seconds);
  std::vector<RingDownQuantile> quantiles;
  if (seconds.empty()) return quantiles;
  for (const double p : shown_quantiles) {
    RingDownQuantile quantile{
        .p = p, .interval = quantile_interval(seconds, p, display_confidence, Sides::two)};
    const double value = *quantile_type7(seconds, p);
    if (std::isfinite(value)) quantile.seconds = value;
    quantiles.push_back(std::move(quantile));
  }
  return quantiles;
}

template <typename Taps>
std::optional<PeakAgainstStrike> peak_against_strike(const Taps& taps) {
  std::vector<double> speeds;
  std::vector<double> peaks;
  for (const auto& tap : taps) {
    if (!tap.signal.peak || tap.signal.peak->is_bound) continue;
    speeds.push_back(std::log(tap.strike_m_s));
    peaks.push_back(std::log(std::abs(tap.signal.peak->codes)));
  }
  const auto line = straight_line(speeds, peaks);
  if (!line) return std::nullopt;
  return PeakAgainstStrike{.line = *line,
                           .slope_interval = line->slope_interval(display_confidence)};
}

/// At most 400 parts of a spectrum, each with its highest point.
std::vector<std::pair<double, double>> spectrum_chart(const Spectrum& spectrum) {
  const std::size_t n = spectrum.power.size();
  const std::size_t part = (n + most_chart_points - 1) / most_chart_points;
  std::vector<std::pair<double, double>> chart;
  for (std::size_t begin = 0; begin < n; begin += part) {
    const auto from = spectrum.power.begin() + static_cast<std::ptrdiff_t>(begin);
    const auto highest =
        std::max_element(from, from + static_cast<std::ptrdiff_t>(std::min(part, n - begin)));
    chart.emplace_back(static_cast<double>(highest - spectrum.power.begin()) * spectrum.step_hz,
                       *highest);
  }
  return chart;
}

/// What the mean of `n` powers of noise with mean 1 exceeds anywhere in 1 % of cases.
double clear_of_mean(std::uint64_t n, double points) {
  const auto shape = static_cast<double>(n);
  const boost::math::gamma_distribution gamma(shape, 1.0 / shape);
  return boost::math::quantile(boost::math::complement(gamma, false_mean_line_share / points));
}

}  // namespace

double PeakAgainstStrike::peak_at(double strike_m_s) const {
  return std::exp(line.at(std::log(strike_m_s)));
}

Interval PeakAgainstStrike::peak_interval_at(double strike_m_s) const {
  Interval interval = line.interval_at(std::log(strike_m_s), display_confidence);
  interval.lower = std::exp(interval.lower);
  interval.upper = std::exp(interval.upper);
  return interval;
}

TapSignal SurfaceTally::take(const TapWindow& window, double strike_m_s) {
  if (!(strike_m_s > 0.0) || (rate_hz_ > 0.0 && rate_hz_ != window.rate_hz)) {
    throw std::domain_error("taps of a surface need positive speeds and one rate");
  }
  TapSignal signal = tap_signal(window);
  rate_hz_ = window.rate_hz;
  if (signal.peak) {
    add_spectrum(window, signal);
    add_decay(window, signal.quiet->baseline);
  }
  taps_.push_back({.signal = signal, .strike_m_s = strike_m_s});
  return signal;
}

void SurfaceTally::add_spectrum(const TapWindow& window, const TapSignal& signal) {
  if (!(signal.resolution_hz > 0.0)) return;
  RingingPart part = ringing_of(window, signal);
  part.values.resize(std::min(part.values.size(), longest_part));
  const Spectrum spectrum = spectrum_of(part.values, window.rate_hz, spectrum_points);
  const double unit = 1.0 / (signal.peak->codes * signal.peak->codes);
  power_.resize(spectrum.power.size());
  for (std::size_t i = 0; i < power_.size(); ++i) power_[i] += unit * spectrum.power[i];
  noise_power_ += unit * std::pow(signal.quiet->noise_rms, 2) * spectrum.white_power;
  step_hz_ = spectrum.step_hz;
  ++spectra_;
}

void SurfaceTally::add_decay(const TapWindow& window, double baseline) {
  std::vector<float> bins;
  const double per_bin = decay_bin_s * window.rate_hz;
  for (std::size_t bin = 0; bin < most_decay_bins; ++bin) {
    const double from = window.contact + per_bin * static_cast<double>(bin);
    const auto begin = static_cast<std::size_t>(std::ceil(from));
    const auto end = static_cast<std::size_t>(std::ceil(from + per_bin));
    if (end > window.end) break;
    double squares = 0.0;
    for (std::size_t i = begin; i < end; ++i) squares += std::pow(window.values[i] - baseline, 2);
    // Fewer samples than bins: an empty one is as the one before.
    const auto count = static_cast<double>(end - begin);
    bins.push_back(end > begin ? static_cast<float>(squares / count)
                               : (bins.empty() ? 0.0F : bins.back()));
  }
  decays_.push_back(std::move(bins));
}

SurfaceSignal SurfaceTally::finish() const {
  SurfaceSignal surface{.taps = taps_.size()};
  for (const OneTap& tap : taps_) {
    if (tap.signal.clipped > 0) ++surface.clipped;
    if (!tap.signal.peak) continue;
    ++surface.clear;
    if (tap.signal.peak->codes > 0.0) ++surface.upwards;
  }
  using Figure = std::optional<double>;
  const auto middle = [this](auto pick) { return middle_over(taps_, pick); };
  surface.noise_rms = middle([](const TapSignal& tap) -> Figure {
    return tap.quiet ? Figure(tap.quiet->noise_rms) : std::nullopt;
  });
  surface.peak_codes = middle([](const TapSignal& tap) -> Figure {
    return tap.peak ? Figure(std::abs(tap.peak->codes)) : std::nullopt;
  });
  surface.contact_to_peak_s = middle([](const TapSignal& tap) -> Figure {
    return tap.peak ? Figure(tap.peak->seconds) : std::nullopt;
  });
  surface.snr_db = middle([](const TapSignal& tap) { return tap.snr_db.value; });
  surface.time_constant_s = middle([](const TapSignal& tap) -> Figure {
    return tap.decay ? Figure(tap.decay->time_constant_s) : std::nullopt;
  });
  surface.loss_factor = middle([](const TapSignal& tap) -> Figure {
    return tap.decay ? tap.decay->loss_factor : std::nullopt;
  });
  surface.t60_s = middle([](const TapSignal& tap) -> Figure {
    return tap.decay ? Figure(tap.decay->t60_s) : std::nullopt;
  });
  surface.strength = peak_against_strike(taps_);
  surface.ring_down = ring_down_over(taps_);
  give_lines(surface);
  give_decay_curve(surface);
  return surface;
}

void SurfaceTally::give_lines(SurfaceSignal& surface) const {
  if (spectra_ == 0) return;
  const auto resolution = middle_over(taps_, [](const TapSignal& tap) {
    return tap.resolution_hz > 0.0 ? std::optional(tap.resolution_hz) : std::nullopt;
  });
  surface.resolution_hz = resolution->median;
  const Spectrum mean{.step_hz = step_hz_, .resolution_hz = surface.resolution_hz, .power = power_};
  const double points = rate_hz_ / surface.resolution_hz;
  const double clear = noise_power_ * clear_of_mean(spectra_, points);
  const double strongest = *std::ranges::max_element(power_);
  for (const SpectralLine& line : lines_in(mean, clear)) {
    SurfaceLine found{.hz = line.hz, .db = decibels_of_power(line.power / strongest)};
    for (const OneTap& tap : taps_) {
      const bool has_it = std::ranges::any_of(tap.signal.lines, [&](const SpectralLine& own) {
        return std::abs(own.hz - line.hz) < surface.resolution_hz;
      });
      if (has_it) ++found.taps;
    }
    if (one_tap_in * found.taps >= spectra_) surface.lines.push_back(found);
  }
  surface.spectrum = spectrum_chart(mean);
  for (auto& [hz, power] : surface.spectrum) power = decibels_of_power(power / strongest);
  surface.spectrum_floor_db = decibels_of_power(noise_power_ / strongest);
}

void SurfaceTally::give_decay_curve(SurfaceSignal& surface) const {
  std::vector<double> curve;  // mean squares
  for (std::size_t bin = 0; bin < most_decay_bins; ++bin) {
    std::vector<double> here;
    for (const std::vector<float>& decay : decays_) {
      if (bin < decay.size()) here.push_back(decay[bin]);
    }
    if (here.empty() || 2 * here.size() < decays_.size()) break;
    std::ranges::sort(here);
    curve.push_back(*quantile_type7(here, 0.5));
  }
  const std::size_t part = (curve.size() + most_chart_points - 1) / most_chart_points;
  for (std::size_t begin = 0; begin + part <= curve.size() && part > 0; begin += part) {
    double sum = 0.0;
    for (std::size_t i = begin; i < begin + part; ++i) sum += curve[i];
    const auto length = static_cast<double>(part);
    surface.decay_curve.emplace_back((static_cast<double>(begin) + 0.5 * length) * decay_bin_s,
                                     std::sqrt(sum / length));
  }
}

}  // namespace plexor::analysis
