#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

// Charts that find small, lasting changes of a figure. NIST/SEMATECH e-Handbook, sections 6.3.2.3
// (CUSUM) and 6.3.2.4 (EWMA). Checked against tests/reference (t08).

namespace plexor::analysis {

/// Sums of what lies beyond the slack on either side of the target; Page 1954, Biometrika 41:100.
struct Cusum {
  std::vector<double> high;  ///< one for each figure
  std::vector<double> low;
  std::optional<std::size_t> first_signal;  ///< index of the first figure that passes `decision`
};
/// `slack` (k, half of the change to be found) and `decision` (h) in the figure's own unit.
[[nodiscard]] Cusum cusum(std::span<const double> figures, double target, double slack,
                          double decision);

/// Exponentially weighted means; Roberts 1959, Technometrics 1:239.
struct Ewma {
  std::vector<double> means;   ///< one for each figure
  std::vector<double> widths;  ///< half widths of the limits about the target, exact for each
  double steady_width = 0.0;   ///< which they approach
  std::optional<std::size_t> first_signal;  ///< index of the first mean beyond its limits
};
/// `weight` (lambda) of the newest figure in (0, 1]; `limit` (L) in standard deviations. Throws
/// std::domain_error for another weight.
[[nodiscard]] Ewma ewma(std::span<const double> figures, double target, double sd, double weight,
                        double limit);

}  // namespace plexor::analysis
