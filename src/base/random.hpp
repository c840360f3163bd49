#pragma once

#include <array>
#include <cstdint>

namespace plexor::base {

/// Philox4x32-10: four random words for a counter and a key.
/// Salmon, Moraes, Dror, Shaw, "Parallel random numbers: as easy as 1, 2, 3", SC11, section 3.3.
[[nodiscard]] std::array<std::uint32_t, 4> philox4x32_10(std::array<std::uint32_t, 4> counter,
                                                         std::array<std::uint32_t, 2> key);

/// What a draw is used for. Part of the key of each draw, so numbers are never
/// reused: append new purposes, never renumber.
enum class Purpose : std::uint16_t {
  interleave = 1,
  gap = 2,
  clock_jitter = 3,
  motor_jitter = 4,
  strike = 5,
  order = 6,  ///< of runs
  // The virtual rig draws from its own seed, so a plan never depends on it.
  sample_noise = 100,
  tap_amplitude = 101,
  disturbance = 102,
  transit = 103,
  line_poll = 104,
  dice = 105,
  outage = 106,
  segment = 107,  ///< the seed of a run's later segments
};

/// Names one random draw. Equal keys give equal draws, on every machine and in
/// any order of asking.
struct DrawKey {
  std::uint64_t seed = 0;
  std::uint32_t block = 0;  ///< the low 16 bits count
  std::uint32_t trial = 0;
  std::uint32_t tap = 0;
  Purpose purpose = Purpose::interleave;
};

/// 64 uniform bits. `round` gives further draws under the same key (rejection loops).
[[nodiscard]] std::uint64_t uniform_bits(const DrawKey& key, std::uint32_t round = 0);

/// Uniform whole number in [low, high], without bias (Lemire 2019, ACM TOMACS 29(1):3,
/// multiply and reject). Needs low <= high.
[[nodiscard]] std::int64_t uniform_between(const DrawKey& key, std::int64_t low, std::int64_t high);

/// Standard normal deviate truncated at +-truncation_sd, in units of 2^-32.
[[nodiscard]] std::int64_t truncated_normal_q32(const DrawKey& key);

/// No planned draw lies further out than this, which bounds the envelope of all plans.
inline constexpr int truncation_sd = 3;

/// value * q32 / 2^32, rounded to nearest (halves upwards). The result must fit.
[[nodiscard]] std::int64_t scale_q32(std::int64_t value, std::int64_t q32);

/// Standard normal deviate from 64 random bits, in units of 2^-32, with tails
/// to 9 standard deviations: the normal quantile function by a table with 64
/// cells in each halving of the tail probability, linear inside a cell (error
/// below 2e-5 sd). Whole numbers only, so equal on every machine.
[[nodiscard]] std::int64_t normal_q32(std::uint64_t bits);

}  // namespace plexor::base
