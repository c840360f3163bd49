#pragma once

#include <cstdint>

#include "base/random.hpp"

namespace plexor::virtual_rig {

/// The virtual rig's seed in a run's segment of this number. A run that goes on after a power cut
/// begins its time anew: what it draws must not be what the first segment drew at the same times.
/// Segment 0 has the run's own seed.
[[nodiscard]] inline std::uint64_t segment_seed(std::uint64_t seed, std::uint32_t segment) {
  if (segment == 0) return seed;
  return base::uniform_bits({.seed = seed, .trial = segment, .purpose = base::Purpose::segment});
}

}  // namespace plexor::virtual_rig
