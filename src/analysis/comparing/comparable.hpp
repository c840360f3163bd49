#pragma once

#include <span>
#include <string>
#include <vector>

#include "analysis/comparing/run_evidence.hpp"

namespace plexor::analysis {

/// Something in which two runs differ besides the release of the device.
struct SettingDifference {
  std::string what;  ///< "surface"
  std::string base;
  std::string candidate;
  bool spoils = false;  ///< a difference of the figures could be due to this: no comparison
};

/// What is not as it was in the base: scenario, surface, spot, mounting, how the rig is made and
/// calibrated. A device's version is no such difference, a device that only one has is.
[[nodiscard]] std::vector<SettingDifference> setting_differences(const RunEvidence& base,
                                                                 const RunEvidence& candidate);

/// Both have tapped the same: trials of one key can be paired.
[[nodiscard]] bool are_paired(const RunEvidence& base, const RunEvidence& candidate);

/// Throws base::InputError for runs whose number of trials depends on what was heard.
void need_fixed_numbers(std::span<const RunEvidence> runs);

/// Why runs decide nothing, whatever their figures say: not at their end, or too many voids.
[[nodiscard]] std::vector<std::string> reservations_about(std::span<const RunEvidence> runs);

/// "surface: base oak counter, candidate granite slab".
[[nodiscard]] std::string in_words(const SettingDifference& difference);

}  // namespace plexor::analysis
