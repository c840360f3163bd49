#include "base/random.hpp"

namespace plexor::base {

namespace {

__extension__ using Wide = __int128;
__extension__ using UnsignedWide = unsigned __int128;

}  // namespace

std::uint64_t uniform_bits(const DrawKey& key, std::uint32_t round) {
  const std::uint32_t place =
      (static_cast<std::uint32_t>(key.purpose) << 16) | (key.block & 0xffffU);
  const auto words = philox4x32_10(
      {round, key.tap, key.trial, place},
      {static_cast<std::uint32_t>(key.seed), static_cast<std::uint32_t>(key.seed >> 32)});
  return (static_cast<std::uint64_t>(words[1]) << 32) | words[0];
}

std::int64_t uniform_between(const DrawKey& key, std::int64_t low, std::int64_t high) {
  const std::uint64_t span = static_cast<std::uint64_t>(high) - static_cast<std::uint64_t>(low) + 1;
  if (span == 0) return static_cast<std::int64_t>(uniform_bits(key));  // all 2^64 values
  const std::uint64_t biased_below = (0 - span) % span;
  for (std::uint32_t round = 0;; ++round) {
    const UnsignedWide product = static_cast<UnsignedWide>(uniform_bits(key, round)) * span;
    if (static_cast<std::uint64_t>(product) >= biased_below) {
      return static_cast<std::int64_t>(static_cast<std::uint64_t>(low) +
                                       static_cast<std::uint64_t>(product >> 64));
    }
  }
}

std::int64_t truncated_normal_q32(const DrawKey& key) {
  constexpr std::int64_t bound = static_cast<std::int64_t>(truncation_sd) << 32;
  for (std::uint32_t round = 0;; ++round) {
    const std::int64_t z = normal_q32(uniform_bits(key, round));
    if (-bound <= z && z <= bound) return z;
  }
}

std::int64_t scale_q32(std::int64_t value, std::int64_t q32) {
  const Wide product = static_cast<Wide>(value) * q32;
  return static_cast<std::int64_t>((product + (static_cast<Wide>(1) << 31)) >> 32);
}

}  // namespace plexor::base
