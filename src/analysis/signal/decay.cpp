#include "analysis/signal/decay.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/figures.hpp"
#include "analysis/signal/straight_line.hpp"

namespace plexor::analysis {
namespace {

constexpr std::size_t fewest_points = 5;
constexpr double least_fall = 0.693;         // 6 dB, in nepers
constexpr double clear_amplitudes = 5.0;     // of the noise: a single peak
constexpr double clear_powers = 10.0;        // of the noise: an envelope
constexpr double single_mode_power = 100.0;  // 20 dB above the second line
constexpr double fewest_samples_a_period = 8.0;
constexpr double db_per_neper = 8.685889638;

/// Logarithms of amplitude over time.
struct LogPoints {
  std::vector<double> seconds;
  std::vector<double> nepers;

  void add(double second, double amplitude) {
    seconds.push_back(second);
    nepers.push_back(std::log(amplitude));
  }
};

std::optional<Decay> decay_through(const LogPoints& points, DecayWay way) {
  if (points.nepers.size() < fewest_points) return std::nullopt;
  const auto line = straight_line(points.seconds, points.nepers);
  if (!line) return std::nullopt;
  const double fall = -line->slope * (points.seconds.back() - points.seconds.front());
  const Interval slope = line->slope_interval(display_confidence);
  if (fall < least_fall || slope.upper >= 0.0) return std::nullopt;
  Decay decay{.way = way,
              .time_constant_s = -1.0 / line->slope,
              .time_constant_interval = slope,
              .fall_db = fall * db_per_neper};
  decay.time_constant_interval.lower = -1.0 / slope.lower;
  decay.time_constant_interval.upper = -1.0 / slope.upper;
  decay.t60_s = t60_of(decay.time_constant_s);
  return decay;
}

void give_loss_factor(Decay& decay, double hz) {
  Interval interval = decay.time_constant_interval;
  decay.loss_factor = loss_factor_of(hz, decay.time_constant_s);
  interval.lower = loss_factor_of(hz, decay.time_constant_interval.upper);
  interval.upper = loss_factor_of(hz, decay.time_constant_interval.lower);
  decay.loss_factor_interval = interval;
}

struct Extreme {
  double sample = 0.0;
  double height = 0.0;
};

/// The top of the parabola through the sample and its neighbours.
Extreme refined(std::span<const double> values, std::size_t at) {
  Extreme extreme{.sample = static_cast<double>(at), .height = values[at]};
  if (at == 0 || at + 1 >= values.size()) return extreme;
  const double bend = values[at - 1] - 2.0 * values[at] + values[at + 1];
  if (bend == 0.0) return extreme;
  const double shift = std::clamp(0.5 * (values[at - 1] - values[at + 1]) / bend, -0.5, 0.5);
  extreme.sample += shift;
  extreme.height -= 0.25 * (values[at - 1] - values[at + 1]) * shift;
  return extreme;
}

/// The outermost sample of each swing that goes beyond `least`, alternately above and below 0.
std::vector<Extreme> swings(std::span<const double> values, double least) {
  std::vector<Extreme> extremes;
  std::optional<std::size_t> outermost;
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (std::abs(values[i]) < least) continue;
    if (outermost && values[*outermost] * values[i] < 0.0) {
      extremes.push_back(refined(values, *outermost));
      outermost.reset();
    }
    if (!outermost || std::abs(values[i]) > std::abs(values[*outermost])) outermost = i;
  }
  return extremes;  // the last swing may not be over
}

/// Half the way from peak to peak, once a period, so that a slow drift of the baseline does no
/// harm.
std::optional<Decay> by_successive_peaks(const DecayQuestion& question, double hz) {
  const double period_samples = question.rate_hz / hz;
  if (period_samples < fewest_samples_a_period) return std::nullopt;
  const auto extremes = swings(question.values, 3.0 * question.noise_rms);
  LogPoints points;
  for (std::size_t i = 1; i + 1 < extremes.size(); i += 2) {  // the first is the blow's
    const Extreme& a = extremes[i];
    const Extreme& b = extremes[i + 1];
    const double height = 0.5 * std::abs(a.height - b.height);
    if (height < clear_amplitudes * question.noise_rms) break;
    points.add(0.5 * (a.sample + b.sample) / question.rate_hz, height);
  }
  if (points.seconds.size() < fewest_points) return std::nullopt;
  const double spacing = (points.seconds.back() - points.seconds.front()) /
                         static_cast<double>(points.seconds.size() - 1);
  if (std::abs(spacing * hz - 1.0) > 0.05) return std::nullopt;  // other swings are among them
  return decay_through(points, DecayWay::successive_peaks);
}

double nearest_other(std::span<const SpectralLine> lines) {
  double nearest = lines.front().hz;  // its own mirror image, and what drifts near 0
  for (const SpectralLine& line : lines.subspan(1)) {
    nearest = std::min(nearest, std::abs(line.hz - lines.front().hz));
  }
  return nearest;
}

std::optional<Decay> in_a_band(const DecayQuestion& question) {
  const double hz = question.lines.front().hz;
  const double length_s = static_cast<double>(question.values.size()) / question.rate_hz;
  const double sd_hz = nearest_other(question.lines) / 5.0;
  const double settling_s = 1.0 / (2.0 * std::numbers::pi * sd_hz);
  if (settling_s > length_s / 16.0) return std::nullopt;
  const auto amplitude = band_amplitude(question.values, question.rate_hz, hz, sd_hz);
  const double noise_power =
      question.noise_rms * question.noise_rms * band_noise_power(question.rate_hz, hz, sd_hz);
  LogPoints points;
  // Twice the settling time apart, what noise does to two points is hardly related.
  const double last_s = length_s - 3.0 * settling_s;
  for (double at_s = 3.0 * settling_s; at_s < last_s; at_s += 2.0 * settling_s) {
    const double here = amplitude[static_cast<std::size_t>(at_s * question.rate_hz)];
    if (here * here < clear_powers * noise_power) break;
    points.add(at_s, std::sqrt(here * here - noise_power));
  }
  return decay_through(points, DecayWay::band);
}

std::optional<Decay> broadband(const DecayQuestion& question) {
  const std::size_t n = question.values.size();
  const double noise_power = question.noise_rms * question.noise_rms;
  const double period = question.lines.empty() ? 0.0 : question.rate_hz / question.lines[0].hz;
  const auto bin = static_cast<std::size_t>(
      std::max({std::ceil(2.0 * period), static_cast<double>(n) / 100.0, 4.0}));
  LogPoints points;
  for (std::size_t begin = bin; begin + bin <= n; begin += bin) {  // the first is the blow's
    double power = 0.0;
    for (const double value : question.values.subspan(begin, bin)) power += value * value;
    power /= static_cast<double>(bin);
    if (power < clear_powers * noise_power) break;
    points.add((static_cast<double>(begin) + 0.5 * static_cast<double>(bin)) / question.rate_hz,
               std::sqrt(power - noise_power));
  }
  return decay_through(points, DecayWay::broadband);
}

bool is_single_mode(std::span<const SpectralLine> lines) {
  return lines.size() == 1 || lines[0].power >= single_mode_power * lines[1].power;
}

std::string why_no_decay(const DecayQuestion& question) {
  if (question.goes_on && question.tap_follows) {
    return "the next knock came before it had died away enough";
  }
  if (question.goes_on) return "the recording ended before it had died away enough";
  if (question.clipped) return "clipped: too little is left after the last clipped sample";
  return "too little of it stands above the noise";
}

}  // namespace

Told<Decay> decay_of(const DecayQuestion& question) {
  std::optional<Decay> decay;
  if (!question.lines.empty()) {
    const double hz = question.lines.front().hz;
    if (is_single_mode(question.lines)) decay = by_successive_peaks(question, hz);
    if (!decay) decay = in_a_band(question);
    if (decay) decay->hz = hz;
  }
  if (!decay) decay = broadband(question);
  if (!decay) return {.value = std::nullopt, .why_not = why_no_decay(question)};
  if (!question.lines.empty()) give_loss_factor(*decay, question.lines.front().hz);
  return {.value = std::move(decay), .why_not = {}};
}

}  // namespace plexor::analysis
