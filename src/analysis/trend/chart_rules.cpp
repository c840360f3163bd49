#include "analysis/trend/chart_rules.hpp"

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/poisson.hpp>
#include <cmath>
#include <stdexcept>
#include <utility>

#include "base/search.hpp"

namespace plexor::analysis {
namespace {

constexpr double furthest_off = 8.0;  // beyond what a double's tail tells apart

void need_chart(bool condition, const char* what) {
  if (!condition) throw std::domain_error(what);
}

double beyond_3_sigma() { return cdf(boost::math::normal(), -3.0); }

double whole(std::uint64_t count) { return static_cast<double>(count); }

/// How far off a count is, by its tail with half of its own probability.
template <typename Distribution>
double off_of(const Distribution& counts, std::uint64_t x) {
  const double own = pdf(counts, whole(x)) / 2.0;
  const double above = cdf(complement(counts, whole(x))) + own;
  const double below = cdf(counts, whole(x)) - own;
  const auto distance = [](double tail) {
    if (tail <= 1e-15) return furthest_off;
    return -quantile(boost::math::normal(), std::min(tail, 0.5));
  };
  return above < below ? distance(above) : -distance(below);
}

/// The least and the most count of which no more than the tail lies beyond.
template <typename Distribution>
std::pair<std::uint64_t, std::uint64_t> counts_within(const Distribution& counts,
                                                      std::uint64_t most) {
  const double tail = beyond_3_sigma();
  const std::uint64_t low = base::first_where(
      std::uint64_t{0}, most, [&](std::uint64_t x) { return cdf(counts, whole(x)) > tail; });
  const std::uint64_t high = base::first_where(std::uint64_t{0}, most, [&](std::uint64_t x) {
    return cdf(complement(counts, whole(x))) <= tail;
  });
  return {low, high};
}

/// So many of the last `among` points lie beyond `sigma`, on the last point's side.
bool many_beyond(std::span<const double> off, std::size_t last, std::size_t among,
                 std::size_t enough, double sigma) {
  if (last + 1 < among) return false;
  const double side = off[last] < 0.0 ? -1.0 : 1.0;
  if (side * off[last] <= sigma) return false;
  std::size_t found = 0;
  for (std::size_t i = last + 1 - among; i <= last; ++i) found += side * off[i] > sigma ? 1U : 0U;
  return found >= enough;
}

bool all_rising(std::span<const double> off, std::size_t last, double direction) {
  constexpr std::size_t in_a_row = 6;
  if (last + 1 < in_a_row) return false;
  for (std::size_t i = last + 2 - in_a_row; i <= last; ++i) {
    if (direction * (off[i] - off[i - 1]) <= 0.0) return false;
  }
  return true;
}

bool all_alternating(std::span<const double> off, std::size_t last) {
  constexpr std::size_t in_a_row = 14;
  if (last + 1 < in_a_row) return false;
  for (std::size_t i = last + 3 - in_a_row; i <= last; ++i) {
    if ((off[i] - off[i - 1]) * (off[i - 1] - off[i - 2]) >= 0.0) return false;
  }
  return true;
}

}  // namespace

std::vector<ChartLimits> share_limits(std::span<const Successes> points, double rate) {
  need_chart(rate >= 0.0 && rate <= 1.0, "control chart: a rate lies between 0 and 1");
  std::vector<ChartLimits> limits;
  for (const Successes& point : points) {
    need_chart(point.n > 0 && point.x <= point.n, "control chart: x of n, n at least 1");
    const boost::math::binomial counts(whole(point.n), rate);
    const auto [low, high] = counts_within(counts, point.n);
    limits.push_back({.centre = rate,
                      .lower = whole(low) / whole(point.n),
                      .upper = whole(high) / whole(point.n),
                      .off = off_of(counts, point.x)});
  }
  return limits;
}

std::vector<ChartLimits> rate_limits(std::span<const Events> points, double rate) {
  need_chart(rate >= 0.0 && std::isfinite(rate), "control chart: a rate is at least 0");
  std::vector<ChartLimits> limits;
  for (const Events& point : points) {
    need_chart(point.exposure > 0.0, "control chart: an exposure must be above 0");
    if (rate <= 0.0) {
      limits.push_back({.off = point.count > 0 ? furthest_off : 0.0});
      continue;
    }
    const double mean = rate * point.exposure;
    const boost::math::poisson counts(mean);
    const auto most = static_cast<std::uint64_t>(mean + 10.0 * std::sqrt(mean) + 20.0);
    const auto [low, high] = counts_within(counts, most);
    limits.push_back({.centre = rate,
                      .lower = whole(low) / point.exposure,
                      .upper = whole(high) / point.exposure,
                      .off = off_of(counts, point.count)});
  }
  return limits;
}

IndividualsBaseline individuals_baseline(std::span<const double> figures, double least_sd) {
  constexpr double range_of_two = 1.128;  // d2 for n = 2, the handbook's table
  constexpr double range_factor = 3.267;  // D4 for n = 2
  need_chart(figures.size() >= 2, "control chart: at least 2 figures");
  IndividualsBaseline found;
  for (std::size_t i = 0; i < figures.size(); ++i) {
    found.level += figures[i];
    if (i > 0) found.mean_range += std::abs(figures[i] - figures[i - 1]);
  }
  found.level /= static_cast<double>(figures.size());
  found.mean_range /= static_cast<double>(figures.size() - 1);
  found.sd = std::max(found.mean_range / range_of_two, least_sd);
  found.range_limit = range_factor * found.sd * range_of_two;
  return found;
}

std::vector<ChartLimits> individuals_limits(std::span<const double> points,
                                            const IndividualsBaseline& baseline) {
  std::vector<ChartLimits> limits;
  for (const double point : points) {
    limits.push_back({.centre = baseline.level,
                      .lower = baseline.level - 3.0 * baseline.sd,
                      .upper = baseline.level + 3.0 * baseline.sd,
                      .off = (point - baseline.level) / baseline.sd});
  }
  return limits;
}

std::string to_text(ChartRule rule) {
  switch (rule) {
    case ChartRule::beyond_3: return "beyond 3 sigma";
    case ChartRule::two_beyond_2: return "2 out of 3 beyond 2 sigma";
    case ChartRule::four_beyond_1: return "4 out of 5 beyond 1 sigma";
    case ChartRule::eight_one_side: return "8 in a row on one side";
    case ChartRule::six_rising: return "6 in a row trending";
    case ChartRule::alternating: return "14 in a row alternating";
    case ChartRule::moving_range: return "moving range beyond its limit";
    case ChartRule::cusum: return "CUSUM beyond its limit";
    case ChartRule::ewma: return "EWMA beyond its limits";
  }
  return {};
}

std::vector<ChartMark> marks_of(std::span<const double> off) {
  std::vector<ChartMark> marks;
  for (std::size_t i = 0; i < off.size(); ++i) {
    const auto mark = [&](bool met, ChartRule rule) {
      if (met) marks.push_back({i, rule});
    };
    mark(std::abs(off[i]) > 3.0, ChartRule::beyond_3);
    mark(many_beyond(off, i, 3, 2, 2.0), ChartRule::two_beyond_2);
    mark(many_beyond(off, i, 5, 4, 1.0), ChartRule::four_beyond_1);
    mark(many_beyond(off, i, 8, 8, 0.0), ChartRule::eight_one_side);
    mark(all_rising(off, i, 1.0) || all_rising(off, i, -1.0), ChartRule::six_rising);
    mark(all_alternating(off, i), ChartRule::alternating);
  }
  return marks;
}

}  // namespace plexor::analysis
