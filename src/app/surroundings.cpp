#include "app/surroundings.hpp"

#include <algorithm>
#include <utility>

#include "app/aside.hpp"
#include "base/error.hpp"
#include "run/disk_room.hpp"

namespace plexor::app {

namespace {

/// Of a mark: what lies farther away is about no run.
constexpr base::Duration farthest = std::chrono::hours{366 * 24};

}  // namespace

base::Instant instant_at(std::int64_t unix_ns, base::Instant then,
                         const base::WallTime& said_then) {
  return then + std::clamp(base::Duration{unix_ns - said_then.unix_ns}, -farthest, farthest);
}

Surroundings::Surroundings(const BegunRun& run, const journal::Segment& segment,
                           const rig::Clock& clock, Setting setting)
    : folder_(run.folder),
      clock_(clock),
      setting_(std::move(setting)),
      clock_watch_({base::segment_start, segment.wall_ns, segment.utc_offset_s}),
      marks_(folder_.marks(), run.marks_known) {}

std::optional<rig::Observation> Surroundings::seen() {
  const base::Instant now = clock_.now();
  if (!setting_.wall_time || now < look_at_) return std::nullopt;
  const base::WallTime wall = setting_.wall_time(now);
  if (const auto seen = clock_watch_.see({now, wall.unix_ns, wall.utc_offset_s})) return *seen;
  // One at a time: as long as there are more, it looks again at once.
  if (auto mark = setting_.takes_marks ? next_mark(now, wall) : std::nullopt) return mark;
  look_at_ = now + setting_.look_every;
  return std::nullopt;
}

std::optional<rig::Observation> Surroundings::next_mark(base::Instant now,
                                                        const base::WallTime& wall) {
  const auto mark = marks_.next();
  if (marks_.unreadable() > 0 && !std::exchange(told_unreadable_, true)) {
    say_aside("WARNING: {}: lines that are no marks; they are passed over\n",
              folder_.marks().string());
  }
  if (!mark) return std::nullopt;
  return rig::DisturbanceSensed{.name = mark->name,
                                .by = by_hand,
                                .from = instant_at(mark->from_unix_ns, now, wall),
                                .to = instant_at(mark->to_unix_ns, now, wall),
                                .at = now};
}

std::optional<std::string> Surroundings::must_end() {
  constexpr base::Duration between = std::chrono::seconds{1};
  const lines::KernelInstant now = lines::kernel_now();  // in virtual time too the disk is real
  if (looked_at_disk_ && now < *looked_at_disk_ + between) return std::nullopt;
  looked_at_disk_ = now;
  return run::why_disk_ends_run(run::free_bytes_at(folder_.root), folder_.root);
}

Surroundings::Setting real_surroundings() {
  return {.wall_time = [](base::Instant) { return rig::wall_time_now(); }, .takes_marks = true};
}

VirtualClock virtual_clock(const std::string& text) {
  VirtualClock clock;
  if (text.empty()) return clock;
  const auto begin = rig::date_and_time_of(text);
  if (!begin) {
    throw base::InputError({"--clock", 0, 0}, "\"" + text + "\"",
                           "a day and a time, as 2026-06-01T22:00:00 (local) or "
                           "2026-06-01T22:00:00+02:00 (the same everywhere)");
  }
  clock.segment.wall_ns = begin->time.unix_ns;
  clock.segment.utc_offset_s = begin->time.utc_offset_s;
  clock.surroundings.wall_time = [begin = *begin](base::Instant now) {
    const std::int64_t unix_ns = begin.time.unix_ns + now.time_since_epoch().count();
    return base::WallTime{unix_ns,
                          begin.is_local ? rig::utc_offset_at(unix_ns) : begin.time.utc_offset_s};
  };
  constexpr base::Duration often_enough = std::chrono::minutes{1};  // zones change at full ones
  clock.surroundings.look_every = often_enough;
  return clock;
}

}  // namespace plexor::app
