#pragma once

#include <cstdint>
#include <span>
#include <vector>

#include "analysis/comparing/rate_ratio.hpp"
#include "analysis/comparing/tested.hpp"

// Many tests at once, many units at once. Checked against tests/reference (t09). Throws
// std::domain_error for wrong arguments: p-values outside [0, 1], less than 2 units.

namespace plexor::analysis {

/// Which error is bounded when several p-values are judged at once.
enum class Adjustment : std::uint8_t {
  bonferroni,          ///< any wrong claim, whatever the dependence
  holm,                ///< the same, with more power. Holm 1979, Scand J Stat 6:65
  hochberg,            ///< any wrong claim, for independent tests. Hochberg 1988, Biometrika 75:800
  benjamini_hochberg,  ///< share of wrong claims, for independent tests. 1995, JRSS B 57:289
  benjamini_yekutieli  ///< the same, whatever the dependence. 2001, Ann Stat 29:1165
};

/// Each p-value adjusted, in the order of the input, at most 1: to be compared with the error
/// itself.
[[nodiscard]] std::vector<double> adjusted(std::span<const double> p_values, Adjustment adjustment);

/// How many adjusted p-values are at most `alpha`; a decimal tie (to 1 in 10^12) is a tie.
[[nodiscard]] std::uint64_t rejections(std::span<const double> adjusted_p, double alpha);

/// One unit against all others together.
struct UnitDeviation {
  std::size_t unit = 0;  ///< its place in the input
  double p = 1.0;        ///< two-sided, exact
  double adjusted_p = 1.0;
  bool higher = false;  ///< its rate is above the others'
};

/// All units with their deviation, in the order of the input: Fisher's exact test of each against
/// the others together, adjusted after Holm. At least 2 units.
[[nodiscard]] std::vector<UnitDeviation> deviations(std::span<const Successes> units);
/// The same for rates, with rate_ratio_exact.
[[nodiscard]] std::vector<UnitDeviation> deviations(std::span<const Events> units);

/// Whether several conditions differ on the same trials. Cochran 1950, Biometrika 37:256; p from
/// the chi-square distribution, good from about 24 outcomes in differing trials (from memory).
struct CochranQ {
  double q = 0.0;
  double degrees = 0.0;
  double p = 1.0;  ///< 1 where no trial differs between conditions
};
/// Each trial has one outcome for each condition, in the same order; at least 2 conditions.
[[nodiscard]] CochranQ cochran_q(std::span<const std::vector<bool>> trials);

}  // namespace plexor::analysis
