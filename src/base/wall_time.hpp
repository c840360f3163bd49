#pragma once

#include <chrono>
#include <cstdint>
#include <string>

namespace plexor::base {

/// What people's clocks say at a moment. Inside, time is an Instant; this is for people.
struct WallTime {
  std::int64_t unix_ns = 0;
  std::int32_t utc_offset_s = 0;  ///< of local time then, east positive
  bool operator==(const WallTime&) const = default;

  /// Since 1970 as local clocks would count it.
  [[nodiscard]] std::chrono::nanoseconds since_local_epoch() const {
    return std::chrono::nanoseconds{unix_ns} + std::chrono::seconds{utc_offset_s};
  }
  /// Since the local midnight before, by clocks that were not changed in between.
  [[nodiscard]] std::chrono::seconds time_of_day() const;
  /// The night it belongs to: the local day at whose noon the time from noon to noon began.
  [[nodiscard]] std::chrono::sys_days night() const;
};

/// "2026-06-01 22:00:00 +02:00" (ISO 8601 but for the spaces): local time, and how far it is ahead
/// of UTC.
[[nodiscard]] std::string to_text(const WallTime& time);

}  // namespace plexor::base
