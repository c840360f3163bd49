#pragma once

#include <array>
#include <cstddef>
#include <cstdint>

namespace plexor::base {

/// Several philox4x32_10 side by side, in a layout that compilers turn into
/// vector instructions; the one of random.hpp is this with one lane. Word i of lane l is
/// words[i][l].
template <std::size_t lanes>
using PhiloxLanes = std::array<std::array<std::uint32_t, lanes>, 4>;

/// Counters in, random words out. Inlined into callers marked PLEXOR_VECTOR_CLONES.
template <std::size_t lanes>
inline __attribute__((always_inline)) void philox4x32_10(PhiloxLanes<lanes>& words,
                                                         std::array<std::uint32_t, 2> key) {
  // Multipliers and Weyl increments: Salmon et al. 2011, table 2 and section 3.3.
  constexpr std::uint32_t multiplier_0 = 0xD2511F53;
  constexpr std::uint32_t multiplier_1 = 0xCD9E8D57;
  constexpr std::uint32_t weyl_0 = 0x9E3779B9;
  constexpr std::uint32_t weyl_1 = 0xBB67AE85;
  const auto high = [](std::uint32_t a, std::uint32_t b) {
    return static_cast<std::uint32_t>((std::uint64_t{a} * b) >> 32);
  };
  for (int round = 0; round < 10; ++round) {
    for (std::size_t lane = 0; lane < lanes; ++lane) {
      const std::uint32_t first = words[0][lane];
      const std::uint32_t third = words[2][lane];
      words[0][lane] = high(third, multiplier_1) ^ words[1][lane] ^ key[0];
      words[1][lane] = third * multiplier_1;
      words[2][lane] = high(first, multiplier_0) ^ words[3][lane] ^ key[1];
      words[3][lane] = first * multiplier_0;
    }
    key[0] += weyl_0;
    key[1] += weyl_1;
  }
}

}  // namespace plexor::base
