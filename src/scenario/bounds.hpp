#pragma once

#include <cstddef>
#include <cstdint>

#include "scenario/scenario.hpp"

namespace plexor::scenario {

/// value * ppm / 10^6 in whole units, rounded to nearest. Needs value >= 0 and ppm >= 0,
/// and a product below 2^63: true for all that parse_scenario lets through.
[[nodiscard]] constexpr std::int64_t share_ppm(std::int64_t value, std::int64_t ppm) {
  return (value * ppm + 500'000) / 1'000'000;
}

/// Nominal interval from contact k - 1 to contact k. Needs 1 <= k < contacts.
[[nodiscard]] base::Duration nominal_interval(const Rhythm& rhythm, std::size_t k);

/// The least that jitter can leave of the interval from contact k - 1 to contact k;
/// 0 or less where it can put the two out of order.
[[nodiscard]] base::Duration shortest_interval(const Rhythm& rhythm, const Jitter& jitter,
                                               std::size_t k);

/// The latest that the last contact can come after the first.
[[nodiscard]] base::Duration longest_length(const Rhythm& rhythm, const Jitter& jitter);

/// All speeds that a strength can ask for, both ends included.
struct SpeedRange {
  base::StrikeSpeed slowest;
  base::StrikeSpeed fastest;
};
[[nodiscard]] SpeedRange speed_range(const Strength& strength);

}  // namespace plexor::scenario
