#include "analysis/signal/decay.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/figures.hpp"
#include "analysis/signal/straight_line.hpp"

namespace plexor::analysis {
namespace {

constexpr std::size_t fewest_points = 5;
constexpr double least_fall = 0.693;             // 6 dB, in nepers
constexpr double clear_amplitudes = 5.0;         // of the noise: a single peak
constexpr double clear_powers = 10.0;            // of the noise: an envelope
constexpr double single_mode_power = 100.0;      // 20 dB above the second line
constexpr double weakest_band = 0.05;            // 13 dB below the strongest line
constexpr double deviations_to_next_line = 3.5;  // a Gaussian band is 53 dB down there
constexpr double fewest_samples_a_period = 8.0;
constexpr double model_error = 0.02;  // of an amplitude, where there is no noise
constexpr double sure_errors = 3.0;   // standard errors
constexpr double db_per_neper = 8.685889638;

/// Logarithms of amplitude over time.
struct LogPoints {
  std::vector<double> seconds;
  std::vector<double> nepers;
  std::vector<double> weights;

  /// `noise`: standard deviation of the amplitude.
  void add(double second, double amplitude, double noise) {
    seconds.push_back(second);
    nepers.push_back(std::log(amplitude));
    weights.push_back(1.0 / (std::pow(noise / amplitude, 2) + std::pow(model_error, 2)));
  }
};

/// Whether both halves of the points fall alike: not so where modes within the resolution beat.
bool falls_evenly(const LogPoints& points) {
  const std::size_t half = points.nepers.size() / 2;
  if (half < fewest_points) return true;
  const std::span x{points.seconds};
  const std::span y{points.nepers};
  const std::span w{points.weights};
  const auto early = straight_line(x.first(half), y.first(half), w.first(half));
  const auto late = straight_line(x.last(half), y.last(half), w.last(half));
  if (!early || !late) return true;
  const double error = std::hypot(early->residual_sd / std::sqrt(early->spread_x),
                                  late->residual_sd / std::sqrt(late->spread_x));
  const auto [steep, flat] = std::minmax(early->slope, late->slope);
  return flat < 0.5 * steep || flat - steep < sure_errors * error;
}

std::optional<Decay> decay_through(const LogPoints& points, DecayWay way) {
  if (points.nepers.size() < fewest_points) return std::nullopt;
  const auto line = straight_line(points.seconds, points.nepers, points.weights);
  if (!line) return std::nullopt;
  const double fall = -line->slope * (points.seconds.back() - points.seconds.front());
  const Interval slope = line->slope_interval(display_confidence);
  if (fall < least_fall || slope.upper >= 0.0 || !falls_evenly(points)) return std::nullopt;
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

/// The outermost sample of each swing that goes beyond `least`, alternately above and below 0, up
/// to where the next one does not come after about half a period.
std::vector<double> swings(std::span<const double> values, double least, double half_period) {
  std::vector<double> extremes;
  std::optional<std::size_t> outermost;
  for (std::size_t i = 0; i < values.size(); ++i) {
    if (std::abs(values[i]) < least) continue;
    if (outermost && values[*outermost] * values[i] < 0.0) {
      extremes.push_back(static_cast<double>(*outermost));
      outermost.reset();
      const std::size_t n = extremes.size();
      if (n > 2 && std::abs(extremes[n - 1] - extremes[n - 2] - half_period) > 0.5 * half_period) {
        extremes.pop_back();
        break;
      }
    }
    if (!outermost || std::abs(values[i]) > std::abs(values[*outermost])) outermost = i;
  }
  return extremes;  // the last swing may not be over
}

/// Height of the half wave about this sample: unlike its outermost sample, noise does not raise it.
double height_of_swing(std::span<const double> values, double middle, double half_period) {
  const auto first = static_cast<std::size_t>(std::max(std::ceil(middle - 0.5 * half_period), 0.0));
  double products = 0.0;
  double squares = 0.0;
  for (std::size_t i = first; i < values.size(); ++i) {
    const double from_middle = static_cast<double>(i) - middle;
    if (from_middle > 0.5 * half_period) break;
    const double shape = std::cos(std::numbers::pi * from_middle / half_period);
    products += values[i] * shape;
    squares += shape * shape;
  }
  return squares > 0.0 ? products / squares : 0.0;
}

/// Swings that come evenly: the middle of each, in samples, by its number.
std::optional<StraightLine> even_swings(std::span<const double> extremes, double half_period) {
  std::vector<double> numbers;
  for (std::size_t i = 0; i < extremes.size(); ++i) numbers.push_back(static_cast<double>(i));
  const auto line = straight_line(numbers, extremes);
  if (!line || std::abs(line->slope / half_period - 1.0) > 0.02) return std::nullopt;
  if (line->residual_sd > 0.1 * half_period) return std::nullopt;
  return line;
}

/// Half the way from peak to peak, once a period, so that a slow drift of the baseline does no
/// harm.
std::optional<Decay> by_successive_peaks(const DecayQuestion& question, double hz) {
  const double half_period = 0.5 * question.rate_hz / hz;
  if (2.0 * half_period < fewest_samples_a_period) return std::nullopt;
  const auto all = swings(question.values, 3.0 * question.noise_rms, half_period);
  if (all.size() < 2 * fewest_points) return std::nullopt;
  const std::span<const double> extremes = std::span{all}.subspan(1);  // the first is the blow's
  const auto middles = even_swings(extremes, half_period);
  if (!middles) return std::nullopt;
  LogPoints points;
  for (std::size_t i = 0; i + 1 < extremes.size(); i += 2) {
    const double here = middles->at(static_cast<double>(i));
    const double next = middles->at(static_cast<double>(i + 1));
    const double height = 0.5 * std::abs(height_of_swing(question.values, here, half_period) -
                                         height_of_swing(question.values, next, half_period));
    if (height < clear_amplitudes * question.noise_rms) break;
    points.add(0.5 * (here + next) / question.rate_hz, height,
               question.noise_rms / std::sqrt(half_period));
  }
  auto decay = decay_through(points, DecayWay::successive_peaks);
  if (decay) decay->hz = hz;
  return decay;
}

double nearest_other(std::span<const SpectralLine> lines, double hz) {
  double nearest = hz;  // its own mirror image, and what drifts near 0
  for (const SpectralLine& line : lines) {
    if (line.hz != hz) nearest = std::min(nearest, std::abs(line.hz - hz));
  }
  return nearest;
}

std::optional<Decay> in_a_band(const DecayQuestion& question, double hz) {
  const double length_s = static_cast<double>(question.values.size()) / question.rate_hz;
  const double sd_hz = nearest_other(question.lines, hz) / deviations_to_next_line;
  const double settling_s = 1.0 / (2.0 * std::numbers::pi * sd_hz);
  if (settling_s > length_s / 16.0) return std::nullopt;
  const auto amplitude = band_amplitude(question.values, question.rate_hz, hz, sd_hz);
  const double noise_power =
      question.noise_rms * question.noise_rms * band_noise_power(question.rate_hz, hz, sd_hz);
  LogPoints points;
  // Twice the settling time apart, what noise does to two points is hardly related.
  const double last_s = length_s - 3.0 * settling_s;
  for (double at_s = 2.5 * settling_s; at_s < last_s; at_s += 2.0 * settling_s) {
    const double here = amplitude[static_cast<std::size_t>(at_s * question.rate_hz)];
    if (here * here < clear_powers * noise_power) break;
    points.add(at_s, std::sqrt(here * here - noise_power), std::sqrt(0.5 * noise_power));
  }
  auto decay = decay_through(points, DecayWay::band);
  if (decay) decay->hz = hz;
  return decay;
}

/// The strongest mode that has a band to itself.
std::optional<Decay> in_any_band(const DecayQuestion& question) {
  for (const SpectralLine& line : question.lines) {
    if (line.power < weakest_band * question.lines.front().power) break;
    if (auto decay = in_a_band(question, line.hz)) return decay;
  }
  return std::nullopt;
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
               std::sqrt(power - noise_power), std::sqrt(noise_power / static_cast<double>(bin)));
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
  return "too little of it stands above the noise, or it does not die away evenly";
}

}  // namespace

Told<Decay> decay_of(const DecayQuestion& question) {
  std::optional<Decay> decay;
  const bool is_single = !question.lines.empty() && is_single_mode(question.lines);
  if (is_single) decay = by_successive_peaks(question, question.lines.front().hz);
  if (!decay) decay = in_any_band(question);
  if (!decay) {
    decay = broadband(question);
    if (decay && is_single) decay->hz = question.lines.front().hz;
  }
  if (!decay) return {.value = std::nullopt, .why_not = why_no_decay(question)};
  if (decay->hz) give_loss_factor(*decay, *decay->hz);
  return {.value = std::move(decay), .why_not = {}};
}

}  // namespace plexor::analysis
