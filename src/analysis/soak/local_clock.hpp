#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "base/time.hpp"

namespace plexor::analysis {

/// What a clock on the wall says.
struct WallTime {
  std::int64_t unix_ns = 0;
  std::int32_t utc_offset_s = 0;  ///< of local time, east positive

  /// Nanoseconds since 1970 as they would be counted by local clocks.
  [[nodiscard]] std::int64_t local_ns() const {
    return unix_ns + std::int64_t{utc_offset_s} * 1'000'000'000;
  }
  [[nodiscard]] std::int64_t second_of_day() const;
  [[nodiscard]] std::uint32_t hour_of_day() const;
};

/// What people's clocks said in the course of a run, by the run's own time. That time is the truth
/// and stands still in holes; a clock that is set moves no instant.
class LocalClock {
 public:
  /// From this moment of the run on the clock says `then` and goes on from there; nothing: it is
  /// not known.
  void set(base::Duration run_time, std::optional<WallTime> then);

  [[nodiscard]] std::optional<WallTime> at(base::Duration run_time) const;
  /// What it said last before this moment, at which it may have been set anew.
  [[nodiscard]] std::optional<WallTime> just_before(base::Duration run_time) const;
  /// At the run's begin.
  [[nodiscard]] std::optional<WallTime> first() const;
  /// The next moment after this one at which its hour may be another: the full hour, or it was set.
  [[nodiscard]] base::Duration next_hour(base::Duration run_time) const;

 private:
  struct Setting {
    base::Duration run_time{};
    std::optional<WallTime> then;
  };
  std::vector<Setting> settings_;  ///< in order
};

}  // namespace plexor::analysis
