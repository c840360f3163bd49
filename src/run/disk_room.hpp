#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>

#include "rig/rig_file.hpp"
#include "run/rehearsal.hpp"
#include "scenario/scenario.hpp"

namespace plexor::run {

/// A run ends in order while this much is still free: for its last records, for its reports, and
/// because a computer with a full disk fails in other ways too. A fixed amount, not a share of the
/// disk: what is written after the end does not grow with the disk.
inline constexpr std::uint64_t disk_reserve = std::uint64_t{64} << 20;

/// Bytes that may still be written where `path` is, or will be. Throws base::RigFault if nobody can
/// tell.
[[nodiscard]] std::uint64_t free_bytes_at(const std::filesystem::path& path);

/// Why a run can't go on with so much free where it writes, and what to do; nothing while it can.
[[nodiscard]] std::optional<std::string> why_disk_ends_run(std::uint64_t free_bytes,
                                                           const std::filesystem::path& path);

/// What a run writes, by its plan: about, since what devices report is not known before.
struct Footprint {
  std::uint64_t journal = 0;
  std::uint64_t waveforms = 0;  ///< of the rig's channels
  std::uint64_t reports = 0;    ///< tables and pages
  [[nodiscard]] std::uint64_t total() const { return journal + waveforms + reports; }
};
[[nodiscard]] Footprint footprint_of(const scenario::Scenario& scenario, const rig::RigFile& rig,
                                     const Rehearsal& rehearsal);

/// How far the free bytes reach, less the reserve.
struct Reach {
  double runs = 0.0;   ///< so many of them, one after the other
  double hours = 0.0;  ///< of tapping and listening like this
  [[nodiscard]] bool fits() const { return runs >= 1.0; }
};
[[nodiscard]] Reach reach_of(std::uint64_t free_bytes, const Footprint& footprint,
                             base::Duration length);

}  // namespace plexor::run
