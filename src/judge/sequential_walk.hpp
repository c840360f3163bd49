#pragma once

#include <vector>

#include "judge/sequential.hpp"

// The exact chances of a sequential test.

namespace plexor::judge {

/// Where a test stands after some exposure, as chances that add up to 1.
struct SequentialWalk {
  std::vector<double> passed;   ///< [failures]: has passed with so many, as SequentialDesign lists
  std::vector<double> running;  ///< [failures]: has not stopped; as long as fail_until
  double failed = 0.0;
  double average = 0.0;  ///< exposure until the stop, or all if still running
};

/// At a true rate (as RateKind says), after `exposure` from 0 to design.longest (whole trials).
/// Throws std::domain_error for others.
/// Forward recursion from limit to limit: between two exposures at which any limit of the design
/// changes, the failures allowed do not change, so the chances at the later one follow from those
/// at the earlier by one binomial or Poisson distribution, and what goes beyond has failed.
/// Nothing is cut off or stepped through, for hours neither; all terms are positive, so only
/// rounding is left (far below 1e-9). The average is the mean of the failures at the stop over
/// their rate (Wald 1945, Ann Math Stat 16:117: from memory).
[[nodiscard]] SequentialWalk walk(const SequentialDesign& design, double true_rate,
                                  double exposure);

/// What a test does at a true rate: a point of its operating characteristic and its average
/// exposure.
struct SequentialChances {
  double pass = 0.0;
  double fail = 0.0;
  double undecided = 0.0;
  double average = 0.0;
};
[[nodiscard]] SequentialChances sequential_chances(const SequentialDesign& design,
                                                   double true_rate);

}  // namespace plexor::judge
