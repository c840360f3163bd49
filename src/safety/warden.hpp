#pragma once

#include <sys/types.h>

#include <functional>
#include <string>

#include "safety/warden_duty.hpp"
#include "safety/wiring.hpp"

namespace plexor::safety {

/// What a warden is told when it is started.
struct WardenSetting {
  Wiring wiring;         ///< all of it but gate and contact is the warden's
  std::string board;     ///< file of the board that the controller made
  pid_t controller = 0;  ///< process whose end takes the power
  WardenLimits limits;
  base::Duration tick = std::chrono::milliseconds{2};
};

/// Serves until `stop` says so or the controller has ended: ticks, carries out
/// the duty's orders, publishes on the board. Whatever ends it, the enable line
/// is inactive before its lines are let go. Nothing is allocated once it serves.
/// `when_held` is called in between: rights may be given up there.
/// Throws base::RigFault if it cannot begin: lines held, no such process.
void serve_as_warden(
    const WardenSetting& setting, const std::function<bool()>& stop,
    const std::function<void()>& when_held = [] {});

}  // namespace plexor::safety
