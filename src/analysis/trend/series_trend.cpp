#include "analysis/trend/series_trend.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <functional>
#include <stdexcept>
#include <utility>
#include <vector>

#include "analysis/intervals.hpp"

namespace plexor::analysis {
namespace {

double median_of(std::vector<double> values) {
  std::ranges::sort(values);
  return quantile_type7(values, 0.5).value();
}

double pairs_variance(double n) { return n * (n - 1.0) * (2.0 * n + 5.0) / 18.0; }

double variance_with_ties(std::span<const double> figures) {
  std::vector<double> sorted(figures.begin(), figures.end());
  std::ranges::sort(sorted);
  double variance = pairs_variance(static_cast<double>(sorted.size()));
  for (auto from = sorted.begin(); from != sorted.end();) {
    const auto to = std::upper_bound(from, sorted.end(), *from);
    variance -= pairs_variance(static_cast<double>(to - from));
    from = to;
  }
  return variance;
}

}  // namespace

MannKendall mann_kendall(std::span<const double> figures) {
  MannKendall found;
  for (std::size_t later = 1; later < figures.size(); ++later) {
    for (std::size_t earlier = 0; earlier < later; ++earlier) {
      if (figures[later] > figures[earlier]) ++found.s;
      if (figures[later] < figures[earlier]) --found.s;
    }
  }
  found.variance = variance_with_ties(figures);
  if (found.s == 0 || found.variance <= 0.0) return found;
  const double towards_0 = found.s > 0 ? -1.0 : 1.0;
  found.z = (static_cast<double>(found.s) + towards_0) / std::sqrt(found.variance);
  found.p = 2.0 * cdf(boost::math::normal(), -std::abs(found.z));
  return found;
}

std::optional<SenSlope> sen_slope(std::span<const double> times, std::span<const double> figures) {
  const bool rising =
      std::ranges::adjacent_find(times, std::ranges::greater_equal()) == times.end();
  if (times.size() != figures.size() || !rising) {
    throw std::domain_error("trend: one rising time for each figure");
  }
  if (times.size() < 2) return std::nullopt;
  std::vector<double> slopes;
  for (std::size_t later = 1; later < times.size(); ++later) {
    for (std::size_t earlier = 0; earlier < later; ++earlier) {
      slopes.push_back((figures[later] - figures[earlier]) / (times[later] - times[earlier]));
    }
  }
  SenSlope found{.slope = median_of(std::move(slopes)), .intercept = 0.0};
  std::vector<double> left;
  for (std::size_t i = 0; i < times.size(); ++i)
    left.push_back(figures[i] - found.slope * times[i]);
  found.intercept = median_of(std::move(left));
  return found;
}

}  // namespace plexor::analysis
