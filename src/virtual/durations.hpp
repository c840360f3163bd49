#pragma once

#include <cstdint>

#include "base/time.hpp"
#include "virtual/physics/elementary.hpp"

namespace plexor::virtual_rig {

/// A computed time, to the nearest nanosecond. Not negative.
[[nodiscard]] inline base::Duration duration_of(double seconds) {
  return base::Duration{static_cast<base::Duration::rep>(seconds * 1e9 + 0.5)};
}

/// The gap to the next arrival of a Poisson process, from 64 random bits.
[[nodiscard]] inline base::Duration poisson_gap(double per_hour, std::uint64_t bits) {
  constexpr double nanoseconds_per_hour = 3.6e12;
  return base::Duration{static_cast<base::Duration::rep>(nanoseconds_per_hour / per_hour *
                                                         physics::exponential(bits))};
}

}  // namespace plexor::virtual_rig
