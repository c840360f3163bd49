#pragma once

#include <chrono>

namespace plexor::base {

/// All durations inside plexor: whole nanoseconds.
using Duration = std::chrono::nanoseconds;

/// The clock of a run: monotonic nanoseconds since the journal segment began.
/// It has no now() on purpose: only the parts list (src/app) and the real
/// drivers read a clock, everybody else is told the time.
struct RunClock {
  using duration = Duration;
  using rep = duration::rep;
  using period = duration::period;
  using time_point = std::chrono::time_point<RunClock, Duration>;
  static constexpr bool is_steady = true;
};

/// A moment of a run. Instants of different segments must not be subtracted.
using Instant = RunClock::time_point;

inline constexpr Instant segment_start{};

using namespace std::chrono_literals;

/// For people and for statistics; never for scheduling.
constexpr double to_ms(Duration d) { return static_cast<double>(d.count()) / 1e6; }
constexpr double to_s(Duration d) { return static_cast<double>(d.count()) / 1e9; }

}  // namespace plexor::base
