#pragma once

#include <cstdint>
#include <optional>

#include "judge/sequential.hpp"

// Sequential tests that always end with pass or fail and keep their promised errors.

namespace plexor::judge {

/// The test that looks only once: pass with at most `allowed` failures in `exposure`.
struct FixedPlan {
  double exposure = 0.0;
  std::uint64_t allowed = 0;
};

/// More failures than a fixed plan may allow: tests of rates so near each other would take weeks.
inline constexpr std::uint64_t most_allowed = 1000;

/// The least exposure that keeps both errors (exact binomial or Poisson), for alarms in hours.
/// Nothing if it would have to allow more than most_allowed.
[[nodiscard]] std::optional<FixedPlan> fixed_plan(const SequentialAim& aim);

/// No sequential test goes on longer than so many fixed plans: that would save nothing.
inline constexpr double most_times_fixed = 3.0;

/// The sequential test of at most `longest` exposure (above 0; whole trials) that keeps both errors
/// exactly; nothing if none of this form does, or if there is no fixed plan. Lines of Wald's slope;
/// at `longest` (or most_times_fixed, if that is sooner), pass with at most the slope's failures,
/// rounded down, or the number nearest to that which keeps both errors in a fixed test; as soon as
/// those are exceeded, fail, and as soon as they can't be exceeded any more, pass. The distances of
/// the two lines are the least (to 10^-4 failures) that keep both errors, by the exact recursion of
/// sequential_walk.hpp: each distance grows with the other, so raising them in turn from 0 ends at
/// the one pair that is least in both, and with it at the least average. Lines of a test cut off,
/// corrected by their exact chances: compare IEC 61123 and 61124, and Epstein & Sobel 1955 (Ann
/// Math Stat 26:82), all from memory; the way to the least distances is our own.
[[nodiscard]] std::optional<SequentialDesign> decided_design(const SequentialAim& aim,
                                                             double longest);

/// As above; `longest` is the smallest of 1, 1.25, 1.5, 2 and 3 times the fixed plan's exposure of
/// which the average exposure (mean of that at good and at bad) lies within 1 % of the best of
/// these. Nothing if there is no fixed plan.
[[nodiscard]] std::optional<SequentialDesign> decided_design(const SequentialAim& aim);

}  // namespace plexor::judge
