#include "analysis/performance/timing.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/math/distributions/students_t.hpp>
#include <cmath>
#include <stdexcept>

namespace plexor::analysis {
namespace {

constexpr double even_within = 1.25;  // longest mean interval to shortest
constexpr double standing_out = 6.0;  // robust deviations
constexpr std::size_t fewest_to_stand_out_from = 6;
constexpr double sd_per_deviation = 1.4826;  // of the normal distribution, to the median deviation

std::vector<double> intervals_ms(const Performance& performance) {
  std::vector<double> intervals;
  for (std::size_t k = 1; k < performance.knocks.size(); ++k) {
    const double interval_s = performance.knocks[k].at_s - performance.knocks[k - 1].at_s;
    if (!(interval_s > 0.0)) throw std::domain_error("timing_of: knocks out of order");
    intervals.push_back(interval_s * 1e3);
  }
  return intervals;
}

std::vector<std::vector<double>> rows_of(std::span<const Performance> performances) {
  if (performances.size() < fewest_performances) {
    throw std::domain_error("timing_of: too few performances");
  }
  std::vector<std::vector<double>> rows;
  for (const Performance& performance : performances) {
    if (performance.knocks.size() != performances.front().knocks.size()) {
      throw std::domain_error("timing_of: unequal numbers of knocks");
    }
    rows.push_back(intervals_ms(performance));
  }
  if (rows.front().empty()) throw std::domain_error("timing_of: a single knock has no timing");
  return rows;
}

Estimated by_students_t(double value, double standard_error, double degrees, double confidence) {
  const double t = boost::math::quantile(
      boost::math::complement(boost::math::students_t(degrees), (1.0 - confidence) / 2.0));
  return {value,
          {.lower = value - t * standard_error,
           .upper = value + t * standard_error,
           .confidence = confidence,
           .method = "Student's t"}};
}

struct MeanAndSd {
  double mean = 0.0;
  double sd = 0.0;
};

MeanAndSd mean_and_sd(const std::vector<double>& values) {
  MeanAndSd result;
  const auto n = static_cast<double>(values.size());
  for (const double value : values) result.mean += value / n;
  double squares = 0.0;
  for (const double value : values) squares += (value - result.mean) * (value - result.mean);
  result.sd = std::sqrt(squares / (n - 1.0));
  return result;
}

Estimated mean_of(const std::vector<double>& values, double confidence) {
  const auto [mean, sd] = mean_and_sd(values);
  const auto n = static_cast<double>(values.size());
  return by_students_t(mean, sd / std::sqrt(n), n - 1.0, confidence);
}

std::vector<double> column_of(const std::vector<std::vector<double>>& rows, std::size_t place) {
  std::vector<double> column;
  column.reserve(rows.size());
  for (const auto& row : rows) column.push_back(row[place]);
  return column;
}

struct Slope {
  double per_step = 0.0;
  double standard_error = 0.0;  ///< with two degrees of freedom less than there are values
};

/// Least squares over 0, 1, 2, ...; at least three values.
Slope slope_over_steps(const std::vector<double>& values) {
  const auto n = static_cast<double>(values.size());
  const double mean = mean_and_sd(values).mean;
  double products = 0.0;
  double steps = 0.0;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const double from_middle = static_cast<double>(i) - (n - 1.0) / 2.0;
    products += from_middle * values[i];
    steps += from_middle * from_middle;
  }
  Slope slope{.per_step = products / steps};
  double squares = 0.0;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const double from_middle = static_cast<double>(i) - (n - 1.0) / 2.0;
    const double residual = values[i] - mean - slope.per_step * from_middle;
    squares += residual * residual;
  }
  slope.standard_error = std::sqrt(squares / (n - 2.0) / steps);
  return slope;
}

std::vector<double> tempos_of(const std::vector<std::vector<double>>& rows) {
  std::vector<double> lengths;
  for (const auto& row : rows) {
    double length = 0.0;
    for (const double interval : row) length += interval;
    lengths.push_back(length);
  }
  const double mean = mean_and_sd(lengths).mean;
  for (double& length : lengths) length /= mean;
  return lengths;
}

Estimated drift_of(const std::vector<double>& tempos, double confidence) {
  const Slope slope = slope_over_steps(tempos);
  return by_students_t(slope.per_step, slope.standard_error,
                       static_cast<double>(tempos.size()) - 2.0, confidence);
}

std::optional<Estimated> drift_within(const std::vector<std::vector<double>>& rows,
                                      const std::vector<PlaceTiming>& places, double confidence) {
  constexpr std::size_t fewest_places = 3;
  if (places.size() < fewest_places) return std::nullopt;
  const auto [shortest, longest] =
      std::ranges::minmax(places, {}, [](const PlaceTiming& place) { return place.mean_ms.value; });
  if (longest.mean_ms.value > even_within * shortest.mean_ms.value) return std::nullopt;
  std::vector<double> slopes;
  slopes.reserve(rows.size());
  for (const auto& row : rows) {
    slopes.push_back(slope_over_steps(row).per_step / mean_and_sd(row).mean);
  }
  return mean_of(slopes, confidence);
}

double middle_of_sorted(const std::vector<double>& sorted) {
  return quantile_type7(sorted, 0.5).value_or(0.0);
}

/// The numbers of performances with an interval far from the others at its place.
std::vector<std::size_t> outliers(const std::vector<std::vector<double>>& rows) {
  std::vector<std::size_t> found;
  if (rows.size() < fewest_to_stand_out_from) return found;
  for (std::size_t place = 0; place < rows.front().size(); ++place) {
    std::vector<double> values = column_of(rows, place);
    std::ranges::sort(values);
    const double median = middle_of_sorted(values);
    for (double& value : values) value = std::abs(value - median);
    std::ranges::sort(values);
    const double deviation = sd_per_deviation * middle_of_sorted(values);
    for (std::size_t i = 0; i < rows.size(); ++i) {
      const bool is_far = std::abs(rows[i][place] - median) > standing_out * deviation;
      if (deviation > 0.0 && is_far && std::ranges::find(found, i) == found.end())
        found.push_back(i);
    }
  }
  std::ranges::sort(found);
  return found;
}

bool leaves_out_zero(const Estimated& estimated) {
  return estimated.interval.lower > 0.0 || estimated.interval.upper < 0.0;
}

void warn_of_few(RhythmTiming& timing) {
  if (timing.performances >= enough_performances) return;
  timing.warnings.push_back(fmt::format(
      "{} performances are few: the clock may be anything from {:.1f} to {:.1f} % of an "
      "interval{}; "
      "knock at least {} times",
      timing.performances, 100.0 * timing.parts.clock_cv.interval.lower,
      100.0 * timing.parts.clock_cv.interval.upper,
      timing.parts.motor_sd_ms ? fmt::format(" and the motor delays from {:.1f} to {:.1f} ms",
                                             timing.parts.motor_sd_ms->interval.lower,
                                             timing.parts.motor_sd_ms->interval.upper)
                               : "",
      enough_performances));
}

void warn_of_what_cannot_be_told(RhythmTiming& timing) {
  auto& warnings = timing.warnings;
  if (timing.knocks == 2) {
    warnings.emplace_back(
        "two knocks have a single interval, and clock and motor can't be told apart: all spread is "
        "taken as the clock's, which replays this interval as measured; learn a rhythm of four or "
        "more knocks to tell them apart");
  } else if (timing.knocks == 3) {
    warnings.emplace_back(
        "with three knocks a tempo that changes from performance to performance can't be told from "
        "the clock: it counts as the clock's, and the motor delays may be larger than said");
  }
  if (timing.parts.motor_is_negative) {
    warnings.emplace_back(
        "a long interval is not followed by a short one, as motor delays would make it: they are "
        "taken as 0");
  }
  if (timing.parts.clock_is_negative) {
    warnings.emplace_back(
        "the motor delays alone explain the whole spread: the clock's is taken as small");
  }
}

void warn_of_change(RhythmTiming& timing) {
  if (!leaves_out_zero(timing.drift)) return;
  timing.warnings.push_back(fmt::format(
      "the knocks get {} by {:.2f} % from one performance to the next, and the spread "
      "contains that: learn again at a steady tempo",
      timing.drift.value > 0.0 ? "slower" : "quicker", 100.0 * std::abs(timing.drift.value)));
}

void warn_of_outliers(RhythmTiming& timing, const std::vector<std::vector<double>>& rows,
                      std::span<const Performance> performances) {
  for (const std::size_t i : outliers(rows)) {
    timing.warnings.push_back(fmt::format(
        "performance {} is far from the others; it counts all the same: learn again, or "
        "take it out, if it was a slip",
        performances[i].number));
  }
}

}  // namespace

RhythmTiming timing_of(std::span<const Performance> performances, double confidence) {
  const auto rows = rows_of(performances);
  RhythmTiming timing{.performances = rows.size(), .knocks = rows.front().size() + 1};
  for (std::size_t place = 0; place < rows.front().size(); ++place) {
    const std::vector<double> column = column_of(rows, place);
    timing.places.push_back({mean_of(column, confidence), mean_and_sd(column).sd});
  }
  timing.tempos = tempos_of(rows);
  timing.drift = drift_of(timing.tempos, confidence);
  timing.drift_within = drift_within(rows, timing.places, confidence);
  timing.parts = variance_parts(rows, confidence);
  warn_of_few(timing);
  warn_of_what_cannot_be_told(timing);
  warn_of_change(timing);
  warn_of_outliers(timing, rows, performances);
  return timing;
}

}  // namespace plexor::analysis
