#pragma once

#include <span>

#include "analysis/comparing/rate_ratio.hpp"
#include "analysis/comparing/tested.hpp"

// Whether several units share one rate.

namespace plexor::analysis {

/// How far units scatter around their common rate.
struct Dispersion {
  double chi_square = 0.0;  ///< Pearson's
  double degrees = 0.0;     ///< units - 1
  double p = 1.0;      ///< that units of one rate scatter at least as far; 1 without any scatter
  bool exact = false;  ///< else from the chi-square distribution
};

/// Pearson's chi-square of k proportions, with its exact distribution given the total of successes
/// (Fisher 1935's conditioning; Cochran 1954, Biometrics 10:417 for the statistic). It is counted
/// unit by unit over all sums of successes and their squares: no random draws. Where that would
/// take more than 2 * 10^6 steps (many units with many successes and many failures each) p is the
/// chi-square distribution's, and `exact` false. Equal unit sizes keep it exact for longer. Two
/// arrangements whose statistics differ by less than 1 in 10^9 count as tied. Units without trials
/// say nothing. At least 2 units; throws std::domain_error otherwise.
[[nodiscard]] Dispersion dispersion_of(std::span<const Successes> units);

/// The same for Poisson counts, given their total: the index of dispersion where exposures are
/// equal (Fisher, Thornton & Mackenzie 1922, Ann Appl Biol 9:325, from memory).
[[nodiscard]] Dispersion dispersion_of(std::span<const Events> units);

}  // namespace plexor::analysis
