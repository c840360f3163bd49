#pragma once

#include <optional>
#include <span>
#include <vector>

#include "analysis/performance/knocks.hpp"
#include "analysis/performance/variance_parts.hpp"

namespace plexor::analysis {

/// How evenly a person strikes.
struct KnockStrength {
  double mean = 0.0;              ///< in the sensor's unit
  std::vector<double> accents{};  ///< of each knock of the rhythm: its mean as a share of `mean`
  /// sd about each knock's own mean, as a share of that. Chi-square, with as many degrees of
  /// freedom as the knocks of a performance are independent of each other.
  Estimated cv{};
};

/// Of performances with equally many knocks. Nothing for fewer than two performances, or where a
/// knock has no strength above 0.
[[nodiscard]] std::optional<KnockStrength> knock_strength(std::span<const Performance> performances,
                                                          double confidence);

}  // namespace plexor::analysis
