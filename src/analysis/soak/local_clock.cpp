#include "analysis/soak/local_clock.hpp"

#include <algorithm>
#include <chrono>

namespace plexor::analysis {
namespace {

using base::WallTime;

}  // namespace

void LocalClock::set(base::Duration run_time, std::optional<WallTime> then) {
  const auto later = std::ranges::upper_bound(settings_, run_time, {}, &Setting::run_time);
  settings_.insert(later, {run_time, then});
}

std::optional<WallTime> LocalClock::at(base::Duration run_time) const {
  const auto after = std::ranges::upper_bound(settings_, run_time, {}, &Setting::run_time);
  if (after == settings_.begin()) return std::nullopt;
  const Setting& last = *std::prev(after);
  if (!last.then) return std::nullopt;
  return WallTime{.unix_ns = last.then->unix_ns + (run_time - last.run_time).count(),
                  .utc_offset_s = last.then->utc_offset_s};
}

std::optional<WallTime> LocalClock::just_before(base::Duration run_time) const {
  std::optional<WallTime> last = at(run_time - base::Duration{1});
  if (last) ++last->unix_ns;
  return last;
}

std::optional<WallTime> LocalClock::first() const {
  return settings_.empty() ? std::nullopt : at(settings_.front().run_time);
}

base::Duration LocalClock::next_hour(base::Duration run_time) const {
  const auto after = std::ranges::upper_bound(settings_, run_time, {}, &Setting::run_time);
  const std::optional<WallTime> now = at(run_time);
  base::Duration next = run_time + std::chrono::hours{1};
  if (now) next -= now->since_local_epoch() - floor<std::chrono::hours>(now->since_local_epoch());
  return after == settings_.end() ? next : std::min(next, after->run_time);
}

}  // namespace plexor::analysis
