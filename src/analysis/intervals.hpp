#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

// Intervals on Boost.Math's distributions. Each names its publication; each is
// checked against tests/reference (t01, t03, t04).

namespace plexor::analysis {

enum class Sides : std::uint8_t {
  two,    ///< confidence inside, half the error on each side
  lower,  ///< only the lower bound is claimed; upper is unbounded
  upper,  ///< only the upper bound is claimed; lower is unbounded
};

/// An interval with everything needed to read it. Unbounded ends are +-infinity
/// (0 or 1 for proportions, 0 for rates).
struct Interval {
  double lower = 0.0;
  double upper = 0.0;
  double confidence = 0.0;
  Sides sides = Sides::two;
  std::string method;  ///< "Clopper-Pearson", "Wilson", "Garwood", "order statistics"
};

/// Exact binomial interval. Clopper & Pearson 1934, Biometrika 26:404. 0 <= x <= n, n >= 1.
[[nodiscard]] Interval clopper_pearson(std::uint64_t x, std::uint64_t n, double confidence,
                                       Sides sides);
/// Score interval. Wilson 1927, JASA 22:209; `continuity` as Newcombe 1998, Stat Med 17:857,
/// method 4.
[[nodiscard]] Interval wilson(std::uint64_t x, std::uint64_t n, double confidence, Sides sides,
                              bool continuity = false);
/// Fewest trials with `allowed` failures that show a proportion of at least `rate` at `confidence`
/// (success run: R^n <= 1 - C for 0 failures). Unbounded search ends at 10^9: then nothing.
[[nodiscard]] std::optional<std::uint64_t> trials_to_show(double rate, double confidence,
                                                          std::uint64_t allowed);

/// Exact Poisson interval for a rate per unit of exposure. Garwood 1936, Biometrika 28:437.
/// exposure > 0.
[[nodiscard]] Interval garwood(std::uint64_t events, double exposure, double confidence,
                               Sides sides);

/// Quantile of sorted values by Hyndman & Fan 1996 (Am Stat 50:361), type 7 or 8.
/// Values may end in +infinity (unanswered trials); nothing for no values.
[[nodiscard]] std::optional<double> quantile_type7(std::span<const double> sorted, double p);
[[nodiscard]] std::optional<double> quantile_type8(std::span<const double> sorted, double p);

/// Ranks (from 1; 0 or n + 1 mean no limit on that side) whose order statistics enclose the
/// p-quantile at `confidence`, and the coverage really reached. David & Nagaraja 2003, section 7.1.
struct OrderRanks {
  std::uint64_t lower = 0;
  std::uint64_t upper = 0;
  double coverage = 0.0;
};
[[nodiscard]] OrderRanks quantile_ranks(std::uint64_t n, double p, double confidence, Sides sides);

/// Sensitivity index d' = z(hits) - z(false responses), with the log-linear correction
/// (x + 0.5) / (n + 1) of Hautus 1995, Behav Res Methods 27:46. Nothing if either n is 0.
[[nodiscard]] std::optional<double> d_prime(std::uint64_t hits, std::uint64_t signals,
                                            std::uint64_t false_responses, std::uint64_t noises);

}  // namespace plexor::analysis
