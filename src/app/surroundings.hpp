#pragma once

#include <functional>
#include <optional>
#include <string>

#include "app/run_journal.hpp"
#include "journal/records.hpp"
#include "lines/lines.hpp"
#include "rig/ports.hpp"
#include "rig/wall_clock.hpp"
#include "run/clock_watch.hpp"
#include "run/marks.hpp"
#include "run/run_folder.hpp"

namespace plexor::app {

/// What goes on beside the rig while a run lasts: what people's clocks say, the marks that they
/// make, and the room on the disk. Each is looked at about once a second, however often it is
/// asked.
class Surroundings {
 public:
  /// What people's clocks say at an instant that is now.
  using WallTimeAt = std::function<base::WallTime(base::Instant)>;

  struct Setting {
    WallTimeAt wall_time{};                               ///< nothing: nobody has a clock there
    base::Duration look_every = std::chrono::seconds{1};  ///< by the run's own time
    bool takes_marks = false;                             ///< people live in the run's own time
  };

  /// `segment`: that the run is in; `clock`: its own time.
  Surroundings(const BegunRun& run, const journal::Segment& segment, const rig::Clock& clock,
               Setting setting);

  // For RunHooks.
  [[nodiscard]] std::optional<rig::Observation> seen();
  [[nodiscard]] std::optional<std::string> must_end();

 private:
  [[nodiscard]] std::optional<rig::Observation> next_mark(base::Instant now,
                                                          const base::WallTime& wall);

  run::RunFolder folder_;
  const rig::Clock& clock_;
  Setting setting_;
  run::ClockWatch clock_watch_;
  run::MarkSpool marks_;
  bool told_unreadable_ = false;
  base::Instant look_at_ = base::segment_start;
  std::optional<lines::KernelInstant> looked_at_disk_;
};

/// What a clock will say, or said, at `unix_ns`, as an instant; at `then` it said `said_then`.
[[nodiscard]] base::Instant instant_at(std::int64_t unix_ns, base::Instant then,
                                       const base::WallTime& said_then);

/// In real time, with this computer's clock.
[[nodiscard]] Surroundings::Setting real_surroundings();

/// In virtual time. Empty: nobody has a clock there, and the segment says so.
struct VirtualClock {
  journal::Segment segment{.boot_id = virtual_boot};
  Surroundings::Setting surroundings{};
};
/// `text`: what people's clocks say when the run begins, as rig::date_and_time_of reads it. Throws
/// base::InputError in the name of the option.
[[nodiscard]] VirtualClock virtual_clock(const std::string& text);

}  // namespace plexor::app
