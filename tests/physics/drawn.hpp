#pragma once

#include <cstdint>

#include "base/random.hpp"

namespace plexor::physics {

/// Keyed uniform draw for property tests.
inline double drawn(std::uint32_t trial, std::uint32_t which, double low, double high) {
  const auto bits = base::uniform_bits({.seed = 41, .trial = trial, .tap = which});
  return low + (high - low) * static_cast<double>(bits >> 11U) * 0x1p-53;
}

}  // namespace plexor::physics
