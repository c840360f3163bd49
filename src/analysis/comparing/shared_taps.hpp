#pragma once

#include <span>
#include <vector>

#include "analysis/comparing/multiplicity.hpp"

namespace plexor::analysis {

/// More trials in which units differ than this are summed by the normal distribution.
inline constexpr std::size_t most_exact_differing = 5000;

/// Each unit against all, where all have heard the same taps: were the units alike, a trial with s
/// successes among k units would have one with this unit with the probability s / k, whatever the
/// tap was like. A unit's successes are then a sum of binomial counts, one for each s, and p is
/// exact (two-sided: twice the smaller tail, at most 1): the margin of the permutations behind
/// Cochran's Q. Beyond most_exact_differing trials by the normal distribution with continuity
/// correction. Adjusted after Holm. Each trial has one outcome for each unit, in one order; at
/// least 2 units and 1 trial, throws std::domain_error otherwise.
[[nodiscard]] std::vector<UnitDeviation> shared_deviations(
    std::span<const std::vector<bool>> trials);

}  // namespace plexor::analysis
