#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "journal/records.hpp"

namespace plexor::run {

/// How much is kept of runs. Results, tables and pages are kept for good.
struct Retention {
  std::uint32_t journals = 14;   ///< nights
  std::uint32_t waveforms = 14;  ///< nights, at most as many as of journals
};

/// A recorded run that still has its journal, as far as retention depends on it.
struct RecordedRun {
  std::string name;
  std::chrono::sys_days night{};                  ///< see base::WallTime::night
  std::optional<journal::Ended::Reason> ended{};  ///< nothing: it lives, or was killed
  bool has_results = false;                       ///< made since the journal ended
  bool has_waveforms = false;
  std::optional<bool> is_archived{};  ///< nothing where there is no archive
};

/// What becomes of a run.
struct Keeping {
  bool removes_journal = false;
  bool removes_waveforms = false;
  std::string kept_because;  ///< of an old one whose files stay all the same: "it was interrupted"
};

/// For each run, in their order. Nights without a run don't count, so that the last ones are there
/// after a holiday too. A run that may still be gone on with, or whose results are not kept
/// elsewhere, loses nothing.
[[nodiscard]] std::vector<Keeping> what_is_kept(const std::vector<RecordedRun>& runs,
                                                const Retention& retention);

}  // namespace plexor::run
