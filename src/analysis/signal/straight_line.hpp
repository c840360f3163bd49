#pragma once

#include <cstddef>
#include <optional>
#include <span>

#include "analysis/intervals.hpp"

namespace plexor::analysis {

/// A straight line of least squares through points with independent errors.
struct StraightLine {
  std::size_t n = 0;
  double slope = 0.0;
  double intercept = 0.0;
  double residual_sd = 0.0;  ///< with n - 2 degrees of freedom; of a point of mean weight
  double mean_x = 0.0;
  double spread_x = 0.0;  ///< sum of squares of x about its mean; both weighted

  [[nodiscard]] double at(double x) const { return intercept + slope * x; }
  /// By Student's distribution, two-sided.
  [[nodiscard]] Interval slope_interval(double confidence) const;
  /// Of the line itself at x, not of a single new point.
  [[nodiscard]] Interval interval_at(double x, double confidence) const;
};

/// `x` and `y` are equally long. `weights`, where given, too: in proportion to 1 / variance.
/// Nothing for fewer than 3 points, or if all have the same x.
[[nodiscard]] std::optional<StraightLine> straight_line(std::span<const double> x,
                                                        std::span<const double> y,
                                                        std::span<const double> weights = {});

}  // namespace plexor::analysis
