#pragma once

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

/// "surface: base oak counter, candidate granite slab".
[[nodiscard]] std::string in_words(const SettingDifference& difference);

}  // namespace plexor::analysis
