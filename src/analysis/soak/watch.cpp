#include "analysis/soak/watch.hpp"

#include <algorithm>

namespace plexor::analysis {
namespace {

using journal::Ended;

/// Nothing in virtual time, which says 0.
std::optional<base::WallTime> wall_of(std::int64_t wall_ns, std::int32_t utc_offset_s) {
  if (wall_ns <= 0) return std::nullopt;
  return base::WallTime{.unix_ns = wall_ns, .utc_offset_s = utc_offset_s};
}

Hole::Cause cause_of(const journal::Segment& before, const journal::Segment& after,
                     const std::optional<Ended>& ended) {
  if (before.boot_id != after.boot_id) return Hole::Cause::reboot;
  if (!ended) return Hole::Cause::killed;
  return ended->reason == Ended::Reason::fault ? Hole::Cause::fault : Hole::Cause::interrupted;
}

/// A clock that was set back meanwhile tells nothing of the length.
std::optional<double> length_of(const std::optional<base::WallTime>& from,
                                const std::optional<base::WallTime>& to) {
  if (!from || !to || to->unix_ns < from->unix_ns) return std::nullopt;
  return base::to_s(base::Duration{to->unix_ns - from->unix_ns});
}

}  // namespace

void Watch::Unheard::ends(base::Duration at) {
  if (since) sum += std::max(at - *since, base::Duration::zero());
  since.reset();
}

void Watch::segment(const journal::Segment& segment, base::Duration begin,
                    const std::optional<Ended>& before) {
  if (segment_) {
    holes_.push_back({.cause = cause_of(*segment_, segment, before),
                      .begins_s = base::to_s(begin),
                      .length_s = length_of(clock_.just_before(begin),
                                            wall_of(segment.wall_ns, segment.utc_offset_s))});
  }
  segment_ = segment;
  clock_.set(begin, wall_of(segment.wall_ns, segment.utc_offset_s));
}

void Watch::segment_lost(base::Duration begin) {
  segment_.reset();
  clock_.set(begin, std::nullopt);
}

void Watch::segment_over(base::Duration end) {
  for (Unheard& device : unheard_) device.ends(end);
}

void Watch::clock_set(const journal::ClockSet& told, base::Duration run_time) {
  clock_.set(run_time, wall_of(told.wall_ns, told.utc_offset_s));
}

void Watch::listener(const journal::ListenerState& told, base::Duration run_time) {
  if (told.listener != 0) return;
  Unheard& device = unheard_.at(told.device);
  if (told.up) {
    device.ends(run_time);
  } else if (!device.since) {
    device.since = run_time;
  }
}

}  // namespace plexor::analysis
