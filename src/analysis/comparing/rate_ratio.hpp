#pragma once

#include <cstdint>

#include "analysis/comparing/tested.hpp"
#include "analysis/intervals.hpp"

// Two Poisson rates, first by second, given the total of events: the first's share of it is
// binomial. Przyborowski & Wilenski 1940, Biometrika 31:313. Checked against tests/reference (t03).

namespace plexor::analysis {

/// Events in an exposure above 0 (hours, say; both of a comparison in the same unit).
struct Events {
  std::uint64_t count = 0;
  double exposure = 1.0;
};

/// Exact test that the first rate is `ratio` times the second; two-sided by the sum of all shares
/// that are at most as probable as the seen one. All p are 1 without events. "greater" means that
/// the first is larger than that. ratio > 0. Throws std::domain_error for wrong arguments.
[[nodiscard]] PValues rate_ratio_exact(Events first, Events second, double ratio = 1.0);

/// Interval for first rate / second rate, from Clopper & Pearson's for the share. 0 to infinity
/// without events. Throws std::domain_error for wrong arguments.
[[nodiscard]] Interval rate_ratio_interval(Events first, Events second, double confidence,
                                           Sides sides);

}  // namespace plexor::analysis
