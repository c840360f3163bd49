#pragma once

#include "analysis/comparing/tested.hpp"
#include "analysis/intervals.hpp"

// Two independent proportions, first minus second. "greater" means the first is larger.
// Checked against tests/reference (t02, t02b). Wrong arguments throw std::domain_error: more
// successes than trials, a confidence outside (0, 1), a one-sided confidence below 1/2.

namespace plexor::analysis {

/// Interval for the difference by squaring and adding Wilson's limits. Newcombe 1998, Stat Med
/// 17:873, method 10. Open sides are -1 and 1.
[[nodiscard]] Interval newcombe_difference(Successes first, Successes second, double confidence,
                                           Sides sides);

/// Interval for the difference: all differences that the score test does not reject. Miettinen &
/// Nurminen 1985, Stat Med 4:213, with their factor N / (N - 1). Open sides are -1 and 1.
[[nodiscard]] Interval miettinen_nurminen_difference(Successes first, Successes second,
                                                     double confidence, Sides sides);

/// One-sided p of the same score test that the first is worse than the second by `margin` or more:
/// small where first - second > -margin is shown. 0 <= margin < 1.
[[nodiscard]] double score_noninferiority(Successes first, Successes second, double margin);

/// Exact test conditional on both margins; two-sided by the sum of all tables that are at most as
/// probable as the seen one. Fisher 1935, JRSS 98:39. At most 4 * 10^9 trials together.
[[nodiscard]] PValues fisher_exact(Successes first, Successes second);

// The unconditional tests take the largest probability over the common true rate: no rate gives
// more than 2.5 * 10^-7 (of the largest conditional probability of any total, at most 1) above the
// p-value returned. With more than `most_unconditional_trials` in both groups together they give
// Fisher's p (two-sided: twice the smaller one-sided), and `method` says so: never smaller than
// Boschloo's, so that no claim becomes easier, and by then close to it.
inline constexpr std::uint64_t most_unconditional_trials = 40'000;

/// With the pooled Wald statistic, ties counted. Barnard 1945, Nature 156:177; the statistic:
/// Suissa & Shuster 1985, JRSS A 148:317.
[[nodiscard]] NamedP barnard_exact(Successes first, Successes second, Alternative alternative);

/// With Fisher's one-sided p as the statistic, ties counted: never above Fisher's p. Two-sided is
/// twice the smaller one-sided p, at most 1. Boschloo 1970, Stat Neerl 24:1.
[[nodiscard]] NamedP boschloo_exact(Successes first, Successes second, Alternative alternative);

}  // namespace plexor::analysis
