#pragma once

#include <functional>
#include <optional>
#include <string>

#include "journal/writer.hpp"
#include "rig/ports.hpp"
#include "run/conductor.hpp"

namespace plexor::run {

/// The rig as the driver sees it.
struct RigPorts {
  rig::Actuator& actuator;
  rig::Senses& senses;
  const rig::Clock& clock;
  rig::PowerSwitch* power = nullptr;  ///< where the rig file gives devices a [device.recovery]
};

/// When a record counts as durable.
enum class Durability : std::uint8_t {
  synced,   ///< after a sync: survives a power cut (real rigs)
  written,  ///< after a write: survives this process; nothing real moves (virtual time)
};

/// How the driver watches the world while it drives.
struct RunHooks {
  std::function<bool()> stop_requested;                     ///< asked between any two inputs
  std::function<void(const Progress&)> on_progress;         ///< called after each trial
  std::function<void(const Fire&)> before_fire{};           ///< called before pulses are queued
  std::function<void(const judge::Settled&)> on_settled{};  ///< called with each trial's answers
  /// Called, again and again, while the tapper is to be moved to this spot of the scenario: true
  /// once it stands there. Without it a run with several spots never goes on.
  std::function<bool(std::uint32_t)> move_to{};
  std::function<void(const journal::WaveRecord&)> on_wave{};  ///< called with what channels showed
  /// Asked again and again while there is no leave to tap: true once it has been given.
  std::function<bool()> leave_given{};
  std::function<void(const rig::LeaveEnded&)> on_leave_ended{};  ///< called as soon as it is known
  /// What was seen beside the rig; asked between any two inputs.
  std::function<std::optional<rig::Observation>()> seen_beside{};
  /// Why the run is to end here, in words; nothing while it may go on. Asked likewise.
  std::function<std::optional<std::string>()> must_end{};
  /// A stop is noticed within this, also in an hour of quiet.
  base::Duration longest_wait = std::chrono::milliseconds{500};
};

/// Drives the conductor to the end of its run: carries out its actions, feeds
/// it what the rig observes. Returns how the run ended. If anything throws, the
/// actuator is made safe before the exception goes on; a failed journal ends the
/// tapping at once.
journal::Ended run_to_end(Conductor& conductor, RigPorts rig, journal::Writer& journal,
                          Durability durability, const RunHooks& hooks);

}  // namespace plexor::run
