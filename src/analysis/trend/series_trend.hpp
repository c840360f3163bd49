#pragma once

#include <cstdint>
#include <optional>
#include <span>

// Whether a series of figures (one for each night, say) moves one way. Checked against
// tests/reference (t08). Wrong arguments throw std::domain_error.

namespace plexor::analysis {

/// Mann 1945, Econometrica 13:245; Kendall 1975 for the variance with ties. Needs no straight line
/// and no distribution, only independent figures.
struct MannKendall {
  std::int64_t s = 0;     ///< rising pairs less falling ones
  double variance = 0.0;  ///< of s without a trend, for the ties seen
  double z = 0.0;         ///< with continuity correction
  double p = 1.0;         ///< two-sided, normal; 1 where all are equal
};
[[nodiscard]] MannKendall mann_kendall(std::span<const double> figures);

/// The median of the slopes of all pairs. Sen 1968, JASA 63:1379. `intercept` is the median of what
/// is left at time 0.
struct SenSlope {
  double slope = 0.0;
  double intercept = 0.0;
};
/// `times` rise strictly, one for each figure. Nothing for fewer than 2.
[[nodiscard]] std::optional<SenSlope> sen_slope(std::span<const double> times,
                                                std::span<const double> figures);

}  // namespace plexor::analysis
