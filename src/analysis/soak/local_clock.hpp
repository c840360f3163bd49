#pragma once

#include <optional>
#include <vector>

#include "base/time.hpp"
#include "base/wall_time.hpp"

namespace plexor::analysis {

/// What people's clocks said in the course of a run, by the run's own time. That time is the truth
/// and stands still in holes; a clock that is set moves no instant.
class LocalClock {
 public:
  /// From this moment of the run on the clock says `then` and goes on from there; nothing: it is
  /// not known.
  void set(base::Duration run_time, std::optional<base::WallTime> then);

  [[nodiscard]] std::optional<base::WallTime> at(base::Duration run_time) const;
  /// What it said last before this moment, at which it may have been set anew.
  [[nodiscard]] std::optional<base::WallTime> just_before(base::Duration run_time) const;
  /// At the run's begin.
  [[nodiscard]] std::optional<base::WallTime> first() const;
  /// The next moment after this one at which its hour may be another: the full hour, or it was set.
  [[nodiscard]] base::Duration next_hour(base::Duration run_time) const;

 private:
  struct Setting {
    base::Duration run_time{};
    std::optional<base::WallTime> then;
  };
  std::vector<Setting> settings_;  ///< in order
};

}  // namespace plexor::analysis
