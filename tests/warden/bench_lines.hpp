#pragma once

#include <cstdint>
#include <string>

#include "safety/wiring.hpp"

namespace plexor {

/// Where the lines of the simulated bench are.
enum Offset : std::uint32_t { loop = 0, lid = 1, coil = 2, enable = 3, watchdog = 4, gate = 5 };

/// The same as a rig file says it.
inline safety::Wiring wiring_of(const std::string& chip) {
  return {.chip = chip,
          .gate = {gate},
          .contact = {},
          .stop_loop = {loop},
          .lid = {lid},
          .coil_sense = {coil},
          .enable = {enable},
          .watchdog = {watchdog}};
}

}  // namespace plexor
