#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "base/time.hpp"

namespace plexor::base {

/// That a device can't be heard any more is noticed within this. What was done longer ago stands.
inline constexpr Duration longest_unnoticed = std::chrono::seconds{30};

/// A disturbance can be marked for so long after it began. What was done longer ago stands.
inline constexpr Duration longest_unmarked = std::chrono::hours{1};

/// One thing a device reported.
struct Event {
  std::uint32_t device = 0;  ///< index into the rig's devices
  std::string name;          ///< what it reported, for example "call"
  Instant arrival;           ///< at the controller, stamped before anything else was done with it
  std::optional<Duration> device_time;  ///< the device's own time stamp, where it sends one
  std::optional<double> strength;       ///< the device's own strength figure, where it sends one
  std::uint32_t listener = 0;           ///< index into the device's listeners: by which it came

  bool operator==(const Event&) const = default;
};

}  // namespace plexor::base
