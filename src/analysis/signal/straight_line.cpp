#include "analysis/signal/straight_line.hpp"

#include <boost/math/distributions/students_t.hpp>
#include <cmath>

namespace plexor::analysis {
namespace {

double student_limit(std::size_t n, double confidence) {
  const boost::math::students_t student(static_cast<double>(n) - 2.0);
  return boost::math::quantile(student, 0.5 + confidence / 2.0);
}

Interval about_line(double centre, double reach, double confidence) {
  return {.lower = centre - reach,
          .upper = centre + reach,
          .confidence = confidence,
          .sides = Sides::two,
          .method = "least squares"};
}

}  // namespace

Interval StraightLine::slope_interval(double confidence) const {
  const double reach = student_limit(n, confidence) * residual_sd / std::sqrt(spread_x);
  return about_line(slope, reach, confidence);
}

Interval StraightLine::interval_at(double x, double confidence) const {
  const double from_mean = x - mean_x;
  const double share = 1.0 / static_cast<double>(n) + from_mean * from_mean / spread_x;
  return about_line(at(x), student_limit(n, confidence) * residual_sd * std::sqrt(share),
                    confidence);
}

std::optional<StraightLine> straight_line(std::span<const double> x, std::span<const double> y,
                                          std::span<const double> weights) {
  const std::size_t n = x.size();
  if (n < 3) return std::nullopt;
  double total = 0.0;
  for (const double weight : weights) total += weight;
  const auto share = [&](std::size_t i) {
    return weights.empty() ? 1.0 / static_cast<double>(n) : weights[i] / total;
  };
  StraightLine line{.n = n};
  double mean_y = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    line.mean_x += share(i) * x[i];
    mean_y += share(i) * y[i];
  }
  double products = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    const double weighted = static_cast<double>(n) * share(i) * (x[i] - line.mean_x);
    line.spread_x += weighted * (x[i] - line.mean_x);
    products += weighted * (y[i] - mean_y);
  }
  if (!(line.spread_x > 0.0)) return std::nullopt;
  line.slope = products / line.spread_x;
  line.intercept = mean_y - line.slope * line.mean_x;
  double squares = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    squares += static_cast<double>(n) * share(i) * std::pow(y[i] - line.at(x[i]), 2);
  }
  line.residual_sd = std::sqrt(squares / (static_cast<double>(n) - 2.0));
  return line;
}

}  // namespace plexor::analysis
