#pragma once

#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "analysis/performance/knocks.hpp"
#include "analysis/performance/variance_parts.hpp"

namespace plexor::analysis {

/// From fewer performances nothing is learned; below the second, intervals are wide: a warning.
inline constexpr std::size_t fewest_performances = 3;
inline constexpr std::size_t enough_performances = 10;

/// The interval from one knock of the rhythm to the next.
struct PlaceTiming {
  Estimated mean_ms{};  ///< Student's t
  double sd_ms = 0.0;
};

/// How a person times a rhythm.
struct RhythmTiming {
  std::size_t performances = 0;
  std::size_t knocks = 0;             ///< of each
  std::vector<PlaceTiming> places{};  ///< one less
  std::vector<double>
      tempos{};  ///< length of each performance as a share of their mean; below 1: quick
  /// Change of the tempo from one performance to the next, as a share: above 0 it gets slower.
  /// Least squares, Student's t.
  Estimated drift{};
  /// Change of the interval from one place to the next, as a share, of a rhythm of at least three
  /// intervals that is even. Nothing for others.
  std::optional<Estimated> drift_within{};
  VarianceParts parts{};
  std::vector<std::string> warnings{};  ///< for people, a sentence each
};

/// Of performances with equally many knocks. Throws std::domain_error for fewer than
/// fewest_performances, fewer than two knocks, unequal numbers, or knocks out of order.
[[nodiscard]] RhythmTiming timing_of(std::span<const Performance> performances, double confidence);

}  // namespace plexor::analysis
