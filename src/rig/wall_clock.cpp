#include "rig/wall_clock.hpp"

#include <array>
#include <chrono>
#include <ctime>
#include <string>

#include "base/calendar.hpp"

namespace plexor::rig {

namespace {

using base::WallTime;

constexpr std::int64_t ns_per_s = 1'000'000'000;
constexpr std::array with_day{"%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M"};

/// Rounded down, also before 1970.
std::time_t seconds_of(std::int64_t unix_ns) {
  return unix_ns / ns_per_s - (unix_ns % ns_per_s < 0 ? 1 : 0);
}

std::tm local(std::int64_t unix_ns) {
  const std::time_t seconds = seconds_of(unix_ns);
  tzset();  // localtime_r itself may never look at the zone again
  std::tm parts{};
  localtime_r(&seconds, &parts);
  return parts;
}

WallTime of_local(std::tm parts) {
  parts.tm_isdst = -1;  // whether it is summer time then, the zone knows
  const std::int64_t unix_ns = static_cast<std::int64_t>(std::mktime(&parts)) * ns_per_s;
  return {unix_ns, utc_offset_at(unix_ns)};
}

/// The parts of a whole text in this form, on top of `parts`.
std::optional<std::tm> read(const std::string& text, const char* form, std::tm parts) {
  const char* end = strptime(text.c_str(), form, &parts);
  if (end == nullptr || *end != '\0') return std::nullopt;
  return parts;
}

std::optional<std::tm> read_with_day(const std::string& text) {
  constexpr std::chrono::sys_days too_late{std::chrono::year{2200} / 1 / 1};  // for nanoseconds
  const auto day = base::day_of(text);
  if (!day || *day >= too_late) return std::nullopt;
  for (const char* form : with_day) {
    if (const auto parts = read(text, form, {})) return parts;
  }
  return std::nullopt;
}

/// "+02:00", "-03:30", "Z".
std::optional<std::int32_t> distance_of(const std::string& text) {
  if (text == "Z") return 0;
  const bool is_signed = !text.empty() && (text.front() == '+' || text.front() == '-');
  const auto parts = is_signed ? read(text.substr(1), "%H:%M", {}) : std::nullopt;
  if (!parts) return std::nullopt;
  const std::int32_t seconds = 60 * (60 * parts->tm_hour + parts->tm_min);
  return text.front() == '-' ? -seconds : seconds;
}

}  // namespace

WallTime wall_time_now() {
  const auto since_epoch = std::chrono::system_clock::now().time_since_epoch();
  const std::int64_t unix_ns =
      std::chrono::duration_cast<std::chrono::nanoseconds>(since_epoch).count();
  return {unix_ns, utc_offset_at(unix_ns)};
}

std::int32_t utc_offset_at(std::int64_t unix_ns) {
  return static_cast<std::int32_t>(local(unix_ns).tm_gmtoff);
}

std::optional<WallTime> local_time_of(std::string_view text, const WallTime& now, Side side) {
  const std::string whole{text};
  if (const auto parts = read_with_day(whole)) return of_local(*parts);
  std::tm today = local(now.unix_ns);
  today.tm_sec = 0;
  auto parts = read(whole, "%H:%M", today);
  if (!parts) return std::nullopt;
  const WallTime then = of_local(*parts);
  if (side == Side::next && then.unix_ns <= now.unix_ns) ++parts->tm_mday;
  if (side == Side::last && then.unix_ns > now.unix_ns) --parts->tm_mday;
  return of_local(*parts);
}

std::optional<DateAndTime> date_and_time_of(std::string_view text) {
  const std::string whole{text};
  if (const auto parts = read_with_day(whole)) return DateAndTime{of_local(*parts)};
  const std::size_t mark = whole.find_first_of("Z+-", std::string_view{"2026-06-12T"}.size());
  if (mark == std::string::npos) return std::nullopt;
  const auto distance = distance_of(whole.substr(mark));
  auto parts = read_with_day(whole.substr(0, mark));
  if (!distance || !parts) return std::nullopt;
  const std::int64_t seconds = static_cast<std::int64_t>(timegm(&*parts)) - *distance;
  return DateAndTime{{seconds * ns_per_s, *distance}, false};
}

}  // namespace plexor::rig
