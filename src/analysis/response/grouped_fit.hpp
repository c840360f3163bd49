#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "analysis/response/rated_response.hpp"

// Trials at many different strengths put into groups: to see the shares, and to see whether a curve
// fits.

namespace plexor::analysis {

/// Neighbouring strengths together, at most `most_groups` with about as many trials in each; each
/// strength by itself where there are no more of them. Equal strengths are never parted; the
/// strength of a group is the mean over its trials.
[[nodiscard]] std::vector<Dose> grouped_doses(std::span<const Dose> doses,
                                              std::uint64_t most_groups);

/// Whether the shares follow the curve: Hosmer & Lemeshow 1980, Commun Stat A9:1043 (from memory).
/// Groups by fitted share (which rises with strength): at most ten, each with at least two expected
/// responses and two expected failures, so that chi-square holds even where each trial has a
/// strength of its own, as in an adaptive run; the deviance says nothing there.
struct GroupedFit {
  std::uint64_t groups = 0;
  double chi_square = 0.0;
  double degrees = 0.0;  ///< groups less 2, less the free rates
  double p = 1.0;        ///< upper tail
};
/// Nothing where fewer groups than needed for one degree of freedom can be made.
[[nodiscard]] std::optional<GroupedFit> grouped_fit(std::span<const Dose> doses,
                                                    const RatedFit& fit);

}  // namespace plexor::analysis
