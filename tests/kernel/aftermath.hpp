#pragma once

#include <optional>
#include <vector>

#include "kernel/line_trace.hpp"
#include "virtual/power_chain.hpp"

namespace plexor {

/// When a fault was made: between these two instants.
struct FaultTime {
  lines::KernelInstant from;
  lines::KernelInstant done;  ///< in effect from here at the latest
};

/// What the lines did after a fault, by the trace of who drove them. Times count from its begin.
struct Aftermath {
  bool flowed = false;                     ///< current, when the fault came
  std::optional<base::Duration> disabled;  ///< the warden first drove enable inactive
  bool enabled_again = false;              ///< and later active
  /// Watchdog edges after the fault was in effect, or after enable was inactive.
  int feeds_in_effect = 0;
  int feeds_disabled = 0;
  base::Duration last_feed{};
  base::Duration current{};  ///< would have flowed so long, by the power chain
  bool ended = false;        ///< and does not any more
};

/// A contact of the chain that the fault opened, which no trace shows.
enum class Opened { nothing, loop, lid };

/// `driven` are lines by their offsets on the bench; `until` is when they were last looked at.
[[nodiscard]] Aftermath aftermath_of(const std::vector<Driven>& driven, const FaultTime& fault,
                                     Opened opened, lines::KernelInstant until,
                                     const virtual_rig::PowerChain::Setting& chain);

}  // namespace plexor
