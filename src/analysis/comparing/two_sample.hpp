#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "analysis/comparing/tested.hpp"
#include "analysis/intervals.hpp"

// Two independent samples of latencies, sorted; first minus second, "greater" means the first is
// larger. A sample may end in +infinity (unanswered trials): later than any answer, and tied with
// each other, so that the difference of two unanswered trials is 0. Time grows with n + m
// (1,000,000 values in each sample are welcome) except where a limit is named. Checked against
// tests/reference (t05). Without values in one of them nothing is claimed. Throws std::domain_error
// for a sample that is not sorted or holds NaN.

namespace plexor::analysis {

/// Pairs in which the first is larger, ties as a half, of all n m. Mann & Whitney 1947, Ann Math
/// Stat 18:50.
struct MannWhitney {
  double u = 0.0;
  double mean = 0.0;  ///< n m / 2
  double sd =
      0.0;  ///< of u where both come from one distribution, given the ties; 0: all are equal
  bool ties = false;
};
[[nodiscard]] MannWhitney mann_whitney(std::span<const double> first,
                                       std::span<const double> second);

/// Exact p-values. Nothing with ties, or beyond `exact_ranks`.
[[nodiscard]] std::optional<PValues> mann_whitney_exact(std::span<const double> first,
                                                        std::span<const double> second);
/// Normal p-values with tie-corrected variance; `continuity` moves u by 1/2 towards its mean.
/// Nothing where all values are equal.
[[nodiscard]] std::optional<PValues> mann_whitney_normal(std::span<const double> first,
                                                         std::span<const double> second,
                                                         bool continuity);

/// Sizes for which exact ranks are computed: n m <= 40,000 and n + m <= 1,000.
[[nodiscard]] bool exact_ranks(std::uint64_t n, std::uint64_t m);

/// P(U <= u) without ties, exact (from Gauss's binomial coefficients). Throws std::domain_error
/// beyond `exact_ranks`.
[[nodiscard]] double rank_sum_at_most(std::uint64_t u, std::uint64_t n, std::uint64_t m);

/// Shift between the samples: the median of all n m differences, and between which two of them the
/// true shift lies. Hodges & Lehmann 1963, Ann Math Stat 34:598; ranks: Lehmann 1963, Ann Math Stat
/// 34:1507; exact where `exact_ranks`, else normal. Ties make the interval wider than it need be.
/// With unanswered trials the shift is still the median of the differences: it is +infinity where
/// more than half of all pairs have only the first unanswered, -infinity where only the second, and
/// the interval's ends likewise.
struct Shift {
  std::optional<double> estimate;  ///< nothing without values, and halfway between the infinities
  double lower = 0.0;
  double upper = 0.0;
  double confidence = 0.0;
  /// What the ranks really reach. Below `confidence` where even the outermost differences do not
  /// (few values): then nothing may be claimed.
  double coverage = 0.0;
  bool exact = false;

  [[nodiscard]] bool reached() const { return coverage >= confidence; }
};
[[nodiscard]] Shift hodges_lehmann(std::span<const double> first, std::span<const double> second,
                                   double confidence);

/// The k-th smallest (from 1) of all n m differences: no more memory than the samples, at most 64
/// passes over both.
[[nodiscard]] double difference_at_rank(std::span<const double> first,
                                        std::span<const double> second, std::uint64_t rank);

enum class Joining : std::uint8_t {
  /// Both quantiles in their order-statistic intervals at once: at least the confidence, whatever
  /// the
  /// distributions, and wide.
  guaranteed,
  /// Distances from the estimates to the ends of these intervals squared and added (Zou & Donner
  /// 2008,
  /// Stat Med 27:1693): near the confidence, and narrower. Guaranteed instead where any of the
  /// quantiles or ends is infinite; `method` says which.
  squared,
};
/// Difference of the p-quantiles (type 7), 0 <= p <= 1; order-statistic intervals as
/// quantile_ranks.
struct QuantileDifference {
  std::optional<double> estimate;
  Interval interval;  ///< unbounded where a sample has too few values
};
[[nodiscard]] QuantileDifference quantile_difference(std::span<const double> first,
                                                     std::span<const double> second, double p,
                                                     double confidence, Joining joining);

/// Largest distance between the two empirical distributions. Smirnov 1939 (see Schröer & Trenkler
/// 1995, Comput Stat Data Anal 20:185 for the exact p with ties).
[[nodiscard]] double kolmogorov_smirnov(std::span<const double> first,
                                        std::span<const double> second);
/// Two-sided p: exact, given the ties. Nothing above 10^7 pairs, to keep the time below a second.
[[nodiscard]] std::optional<double> kolmogorov_smirnov_exact(std::span<const double> first,
                                                             std::span<const double> second);
/// Two-sided p: Kolmogorov's limit, without correction for size; conservative with ties.
[[nodiscard]] double kolmogorov_smirnov_limit(std::span<const double> first,
                                              std::span<const double> second);

/// Distance of k samples from their pool, weighted towards the tails, and the same minus its mean k
/// - 1 in standard deviations. Scholz & Stephens 1987, JASA 82:918, version 1 (equation 6 where
/// values are tied). At least 2 samples, none empty, 4 values in all.
struct AndersonDarling {
  double statistic = 0.0;
  double standardised = 0.0;
};
[[nodiscard]] AndersonDarling anderson_darling(std::span<const std::vector<double>> samples);

}  // namespace plexor::analysis
