#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "analysis/comparing/rate_ratio.hpp"
#include "analysis/comparing/tested.hpp"

// Whether counts in order of time keep one rate: exact tests given their total. Wrong arguments
// throw std::domain_error.

namespace plexor::analysis {

/// Counts in order of time, each with what it was counted in: trials, or an exposure.
struct OrderedCounts {
  std::vector<std::uint64_t> counts;
  std::vector<double> sizes;  ///< each above 0
  bool of_trials = false;     ///< binomial; else Poisson

  [[nodiscard]] std::size_t size() const { return counts.size(); }
};
/// Of the rarer of successes and failures, for which every test here is the same. Each n >= 1.
[[nodiscard]] OrderedCounts ordered_counts(std::span<const Successes> series);
[[nodiscard]] OrderedCounts ordered_counts(std::span<const Events> series);

/// The sum of weight * count against what one rate expects given the total, in its standard
/// deviations: the score test for a slope along the weights. Cochran 1954, Biometrics 10:417;
/// Armitage 1955, Biometrics 11:375. 0 where nothing can vary.
[[nodiscard]] double weighted_score(const OrderedCounts& series, std::span<const double> weights);

/// Two-sided p, and whether it is exact given the total (Cox 1970, The Analysis of Binary Data,
/// chapter 4: from memory) or, where the count of all arrangements would take long, normal.
struct DriftTest {
  double z = 0.0;  ///< of weighted_score
  double p = 1.0;  ///< exact: twice the smaller tail, at most 1
  bool exact = false;
};
/// Against counts that rise or fall along whole weights (nights since something, say).
[[nodiscard]] DriftTest drift_test(const OrderedCounts& series,
                                   std::span<const std::uint32_t> weights);

/// Two-sided exact p of one count against all others together.
[[nodiscard]] double one_against_others(const OrderedCounts& series, std::size_t one);

/// Where the rate changes once, if it does.
struct ChangeScan {
  std::size_t first_after = 1;    ///< index of the first count after the likeliest change
  std::vector<double> deviances;  ///< [i]: of a change before count i + 1; twice the log of the
                                  ///< ratio of likelihoods
  double p = 1.0;                 ///< that some split of one rate has a deviance as large
  bool exact = false;             ///< else Bonferroni's bound over chi-square tails
};
/// The largest deviance over all splits, with its exact distribution given the total: the sum so
/// far is a Markov chain, followed as long as no split reaches that deviance. Worsley 1983,
/// Biometrika 70:455 (binomial); 1986, Biometrika 73:91 (exponential families). At least 2 counts.
[[nodiscard]] ChangeScan change_scan(const OrderedCounts& series);

}  // namespace plexor::analysis
