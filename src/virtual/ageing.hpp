#pragma once

#include <cstdint>

#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// Some device of it ages, so that it must be told the day (age).
[[nodiscard]] bool ages(const Simulation& simulation);

/// Makes each device as old as it is at this moment (Unix time): its sensor has gained or lost
/// sensitivity evenly since its first day, and never more than to a hundredth. Call once, before
/// the rig is made.
void age(Simulation& simulation, std::int64_t wall_ns);

}  // namespace plexor::virtual_rig
