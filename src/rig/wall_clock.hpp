#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

#include "base/wall_time.hpp"

namespace plexor::rig {

/// By this computer's clock and zone, as they are now: either may be set while a run goes on (the
/// zone as timedatectl does; one that stands in TZ is the process's own for good).
[[nodiscard]] base::WallTime wall_time_now();

/// By how much local time is ahead of UTC at that moment, by the zone's rules as they are now.
[[nodiscard]] std::int32_t utc_offset_at(std::int64_t unix_ns);

/// Where a time of the day without a day lies, seen from now.
enum class Side : std::uint8_t { next, last };

/// A moment as people write it, in local time: "2026-06-12 07:00", "2026-06-12T07:00:00", or
/// "07:00" for the next or last time that clocks say so. Nothing if it is no such text. Of an hour
/// that a change of daylight saving leaves out or repeats it is one of the two readings.
[[nodiscard]] std::optional<base::WallTime> local_time_of(std::string_view text,
                                                          const base::WallTime& now, Side side);

/// A day and a time of it.
struct DateAndTime {
  base::WallTime time;
  bool is_local = true;  ///< by this computer's zone; else it says how far it is from UTC
};
/// The same with a day, or with its distance from UTC, which makes it the same moment everywhere:
/// "2026-06-12T07:00:00+02:00", "2026-06-12T05:00:00Z" (ISO 8601). Nothing if it is no such text.
[[nodiscard]] std::optional<DateAndTime> date_and_time_of(std::string_view text);

}  // namespace plexor::rig
