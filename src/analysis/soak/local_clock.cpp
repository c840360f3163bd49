#include "analysis/soak/local_clock.hpp"

#include <algorithm>
#include <chrono>

namespace plexor::analysis {
namespace {

constexpr std::int64_t day_s = 86'400;
constexpr std::int64_t second_ns = 1'000'000'000;
constexpr base::Duration hour = std::chrono::hours{1};

/// Rounded down, also before 1970.
std::int64_t rest_of(std::int64_t value, std::int64_t divisor) {
  const std::int64_t rest = value % divisor;
  return rest < 0 ? rest + divisor : rest;
}

}  // namespace

std::int64_t WallTime::second_of_day() const {
  return rest_of(local_ns(), day_s * second_ns) / second_ns;
}

std::uint32_t WallTime::hour_of_day() const {
  return static_cast<std::uint32_t>(second_of_day() / (day_s / 24));
}

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
  base::Duration next = run_time + hour;
  if (now) next -= base::Duration{rest_of(now->local_ns(), hour.count())};
  return after == settings_.end() ? next : std::min(next, after->run_time);
}

}  // namespace plexor::analysis
