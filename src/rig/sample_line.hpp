#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

#include "base/time.hpp"
#include "rig/rig_file.hpp"

namespace plexor::rig {

/// What a line of a channel says.
struct LineSample {
  std::int32_t value = 0;
  base::Duration own{};  ///< time_and_value: the sender's time; below 4 * 10^18 ns
  base::Duration
      resolution{};  ///< and the steps in which it is told: 1 ms by "12", 1 us by "12.250"
};

/// Nothing for a line that is no sample: not a whole number, more than 32 bits, no time or one that
/// is negative or beyond its range, or anything else before, between or behind.
[[nodiscard]] std::optional<LineSample> read_sample(std::string_view line, SampleLine kind);

}  // namespace plexor::rig
