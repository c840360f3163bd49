#pragma once

#include <cstdint>

#include "analysis/results.hpp"
#include "base/time.hpp"

namespace plexor::analysis {

/// Confidence of every interval that is displayed rather than judged by.
inline constexpr double display_confidence = 0.95;

/// x of n with both two-sided 95 % intervals; no estimate and no interval for n = 0.
[[nodiscard]] Proportion proportion_of(std::uint64_t x, std::uint64_t n);

/// Incidents over the time listened; no rate and no interval where nothing was listened to.
[[nodiscard]] AlarmRate alarm_rate_of(std::uint64_t incidents, base::Duration listened);

[[nodiscard]] double to_hours(base::Duration duration);

}  // namespace plexor::analysis
