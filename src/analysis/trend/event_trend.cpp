#include "analysis/trend/event_trend.hpp"

#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <limits>
#include <stdexcept>

namespace plexor::analysis {
namespace {

constexpr double endless_time = std::numeric_limits<double>::infinity();

void need_trend(bool condition, const char* what) {
  if (!condition) throw std::domain_error(what);
}

/// The events that say something, and when the watch on them ended.
struct Watch {
  std::span<const double> times;
  double end = 0.0;
};

Watch watch_of(std::span<const double> times, double watched, Truncation truncation) {
  double before = 0.0;
  for (const double time : times) {
    need_trend(time > 0.0 && time >= before, "trend: times must rise from above 0");
    before = time;
  }
  if (truncation == Truncation::event && !times.empty()) {
    return {times.first(times.size() - 1), times.back()};
  }
  need_trend(std::isfinite(watched) && watched > 0.0 && watched >= before,
             "trend: the watch must end at a time after its events");
  return {times, watched};
}

/// Sum of log(end / time).
double log_sum(const Watch& watch) {
  double sum = 0.0;
  for (const double time : watch.times) sum += std::log(watch.end / time);
  return sum;
}

double chi_square_quantile(double probability, double degrees) {
  return quantile(boost::math::chi_squared(degrees), probability);
}

}  // namespace

std::optional<LaplaceTrend> laplace_trend(std::span<const double> times, double watched,
                                          Truncation truncation) {
  const Watch watch = watch_of(times, watched, truncation);
  if (watch.times.empty()) return std::nullopt;
  const auto n = static_cast<double>(watch.times.size());
  double sum = 0.0;
  for (const double time : watch.times) sum += time;
  const double z = (sum - n * watch.end / 2.0) / (watch.end * std::sqrt(n / 12.0));
  return LaplaceTrend{.z = z, .p = 2.0 * cdf(boost::math::normal(), -std::abs(z))};
}

std::optional<PowerLawTest> power_law_test(std::span<const double> times, double watched,
                                           Truncation truncation) {
  const Watch watch = watch_of(times, watched, truncation);
  if (watch.times.empty()) return std::nullopt;
  PowerLawTest found{.chi_square = 2.0 * log_sum(watch),
                     .degrees = 2.0 * static_cast<double>(watch.times.size())};
  found.p_denser = cdf(boost::math::chi_squared(found.degrees), found.chi_square);
  return found;
}

std::uint64_t reversals(std::span<const double> times) {
  const auto gap = [&](std::size_t i) { return times[i] - (i > 0 ? times[i - 1] : 0.0); };
  std::uint64_t count = 0;
  for (std::size_t later = 1; later < times.size(); ++later) {
    for (std::size_t earlier = 0; earlier < later; ++earlier) {
      if (gap(earlier) < gap(later)) ++count;
    }
  }
  return count;
}

MeanTimeBetween mean_time_between(std::uint64_t events, double watched, double confidence,
                                  Truncation truncation) {
  need_trend(watched > 0.0 && std::isfinite(watched), "trend: nothing was watched");
  need_trend(confidence > 0.0 && confidence < 1.0, "trend: confidence must lie between 0 and 1");
  const auto n = static_cast<double>(events);
  const double error = 1.0 - confidence;
  // Without events, however it ended, as if one were due.
  const double more = truncation == Truncation::time || events == 0 ? 2.0 : 0.0;
  const auto lower = [&](double tail) {
    return 2.0 * watched / chi_square_quantile(1.0 - tail, 2.0 * n + more);
  };
  MeanTimeBetween found;
  if (events > 0) found.mean = watched / n;
  found.two_sided = {.lower = lower(error / 2.0),
                     .upper = events > 0 ? 2.0 * watched / chi_square_quantile(error / 2.0, 2.0 * n)
                                         : endless_time,
                     .confidence = confidence,
                     .sides = Sides::two,
                     .method = "chi-square"};
  found.lower = lower(error);
  return found;
}

std::optional<PowerLaw> power_law(std::span<const double> times, double watched) {
  const Watch watch = watch_of(times, watched, Truncation::time);
  if (times.size() < 2) return std::nullopt;
  const auto r = static_cast<double>(times.size());
  const double z = quantile(boost::math::normal(), 0.9);
  PowerLaw found{.b = (r - 1.0) / log_sum(watch)};
  found.mean_time_at_end = watched / (r * found.b);
  const double scaled = found.mean_time_at_end * r * (r - 1.0);
  const double low = r + z * z / 4.0 + std::sqrt(r * z * z / 2.0 + std::pow(z, 4) / 16.0);
  const double high = r - z * std::sqrt(r / 2.0);
  found.mean_time_interval = {.lower = scaled / (low * low),
                              .upper = scaled / (high * high),
                              .confidence = 0.8,
                              .sides = Sides::two,
                              .method = "approximate"};
  return found;
}

}  // namespace plexor::analysis
