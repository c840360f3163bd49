#pragma once

#include <cstdint>

namespace plexor {

/// Where the lines of the simulated bench are.
enum Offset : std::uint32_t { loop = 0, lid = 1, coil = 2, enable = 3, watchdog = 4, gate = 5 };

}  // namespace plexor
