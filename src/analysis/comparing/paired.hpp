#pragma once

#include <cstdint>

#include "analysis/comparing/tested.hpp"
#include "analysis/intervals.hpp"

// The same trials under two conditions: first rate minus second rate. "greater" means the first is
// larger. Checked against tests/reference (t02). Wrong arguments throw std::domain_error.

namespace plexor::analysis {

/// Trial pairs by their two outcomes. Without pairs the interval is as wide as can be and each p
/// is 1.
struct Pairs {
  std::uint64_t both = 0;
  std::uint64_t first_only = 0;
  std::uint64_t second_only = 0;
  std::uint64_t neither = 0;

  [[nodiscard]] std::uint64_t count() const { return both + first_only + second_only + neither; }
};

/// Interval for the difference: all differences that the score test does not reject. Tango 1998,
/// Stat Med 17:891. A one-sided confidence is at least 1/2. Open sides are -1
/// and 1.
[[nodiscard]] Interval tango_difference(const Pairs& pairs, double confidence, Sides sides);

/// One-sided p of the same score test that the first is worse than the second by `margin` or more:
/// small where first - second > -margin is shown. 0 <= margin < 1.
[[nodiscard]] double tango_noninferiority(const Pairs& pairs, double margin);

/// Exact test on the pairs that differ (a sign test). McNemar 1947, Psychometrika 12:153. All p are
/// 1 where no pair differs.
[[nodiscard]] PValues mcnemar_exact(std::uint64_t first_only, std::uint64_t second_only);

}  // namespace plexor::analysis
