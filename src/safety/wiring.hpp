#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "base/time.hpp"
#include "safety/limits.hpp"

namespace plexor::safety {

/// Where a line is on its chip, and which way round it is.
struct Wire {
  std::uint32_t offset = 0;
  bool active_low = false;
};

/// How the rig is wired to the computer (rig/wiring.md). The controller holds
/// gate and contact, the warden all others: a line has one owner.
struct Wiring {
  std::string chip;  ///< device file of the chip, or the file that `simulate` makes
  Wire gate;
  std::optional<Wire> contact;  ///< the tip switch
  Wire stop_loop;
  Wire lid;
  Wire coil_sense;
  Wire enable;
  Wire watchdog;
};

/// What stands above the plan's own limits: the warden's, and above these what
/// is fitted outside the computer.
struct Tiers {
  base::Duration heartbeat_age{};  ///< warden: an older heartbeat is missing
  base::Duration longest_pulse{};  ///< warden: sensed current for longer is a fault
  base::Duration one_shot{};       ///< outside: power lasts so long without the watchdog
  base::Duration longest_on{};     ///< outside: no single pulse lasts longer
};

/// Tiers out of order (plan < warden < outside) or above their ceilings.
[[nodiscard]] std::optional<Refusal> check_tiers(const Limits& limits, const Tiers& tiers);

}  // namespace plexor::safety
