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

std::optional<StraightLine> straight_line(std::span<const double> x, std::span<const double> y) {
  const std::size_t n = x.size();
  if (n < 3) return std::nullopt;
  StraightLine line{.n = n};
  double mean_y = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    line.mean_x += x[i] / static_cast<double>(n);
    mean_y += y[i] / static_cast<double>(n);
  }
  double products = 0.0;
  for (std::size_t i = 0; i < n; ++i) {
    line.spread_x += (x[i] - line.mean_x) * (x[i] - line.mean_x);
    products += (x[i] - line.mean_x) * (y[i] - mean_y);
  }
  if (!(line.spread_x > 0.0)) return std::nullopt;
  line.slope = products / line.spread_x;
  line.intercept = mean_y - line.slope * line.mean_x;
  double squares = 0.0;
  for (std::size_t i = 0; i < n; ++i) squares += std::pow(y[i] - line.at(x[i]), 2);
  line.residual_sd = std::sqrt(squares / (static_cast<double>(n) - 2.0));
  return line;
}

}  // namespace plexor::analysis
