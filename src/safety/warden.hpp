#pragma once

#include <sys/types.h>

#include <functional>
#include <string>

#include "safety/warden_duty.hpp"

namespace plexor::safety {

/// What a warden is told when it is started.
struct WardenSetting {
  std::string chip;
  std::string board;     ///< file of the board that the controller made
  pid_t controller = 0;  ///< process whose end takes the power
  std::uint32_t loop_offset = 0;
  std::uint32_t lid_offset = 0;
  std::uint32_t coil_offset = 0;
  std::uint32_t enable_offset = 0;
  std::uint32_t watchdog_offset = 0;
  WardenLimits limits;
  base::Duration tick = std::chrono::milliseconds{2};
};

/// Serves until `stop` says so or the controller has ended: ticks, carries out
/// the duty's orders, publishes on the board. Whatever ends it, the enable line
/// is inactive before its lines are let go. Nothing is allocated once it serves.
/// Throws base::RigFault if it cannot begin: lines held, no such process.
void serve_as_warden(const WardenSetting& setting, const std::function<bool()>& stop);

}  // namespace plexor::safety
