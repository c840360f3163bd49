#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>

namespace plexor::analysis {

/// Where a channel rests, and how much it moves there. Codes of the converter.
struct QuietLevel {
  double baseline = 0.0;
  double noise_rms = 0.0;  ///< not below what rounding to whole codes makes, 1/sqrt(12)
  std::size_t samples = 0;

  /// So far from the baseline does noise alone come in only 1 % of stretches of this many samples
  /// (normal noise, bound by the union of its samples).
  [[nodiscard]] double reach(std::size_t stretch) const;
};

/// Mean and root mean square of samples at rest; a few outliers (beyond 4 robust deviations from
/// the median) are left out. Nothing for fewer than 16 samples.
[[nodiscard]] std::optional<QuietLevel> quiet_level(std::span<const std::int32_t> values);

}  // namespace plexor::analysis
