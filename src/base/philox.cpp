#include "base/random.hpp"

namespace plexor::base {

namespace {

// Multipliers and Weyl increments of Philox4x32: Salmon et al. 2011, table 2 and section 3.3.
constexpr std::uint64_t multiplier_0 = 0xD2511F53;
constexpr std::uint64_t multiplier_1 = 0xCD9E8D57;
constexpr std::uint32_t weyl_0 = 0x9E3779B9;
constexpr std::uint32_t weyl_1 = 0xBB67AE85;
constexpr int rounds = 10;

constexpr std::uint32_t high(std::uint64_t v) { return static_cast<std::uint32_t>(v >> 32); }
constexpr std::uint32_t low(std::uint64_t v) { return static_cast<std::uint32_t>(v); }

}  // namespace

std::array<std::uint32_t, 4> philox4x32_10(std::array<std::uint32_t, 4> counter,
                                           std::array<std::uint32_t, 2> key) {
  for (int round = 0; round < rounds; ++round) {
    const std::uint64_t product_0 = multiplier_0 * counter[0];
    const std::uint64_t product_1 = multiplier_1 * counter[2];
    counter = {high(product_1) ^ counter[1] ^ key[0], low(product_1),
               high(product_0) ^ counter[3] ^ key[1], low(product_0)};
    key[0] += weyl_0;
    key[1] += weyl_1;
  }
  return counter;
}

}  // namespace plexor::base
