#include "base/wall_time.hpp"

#include <fmt/format.h>

#include <cstdlib>

#include "base/calendar.hpp"

namespace plexor::base {

namespace {

using std::chrono::days;
using std::chrono::floor;
using std::chrono::seconds;

}  // namespace

seconds WallTime::time_of_day() const {
  const std::chrono::nanoseconds local = since_local_epoch();
  return floor<seconds>(local - floor<days>(local));
}

std::chrono::sys_days WallTime::night() const {
  constexpr std::chrono::hours noon{12};
  return std::chrono::sys_days{floor<days>(since_local_epoch() - noon)};
}

std::string to_text(const WallTime& time) {
  const auto second = time.time_of_day().count();
  const std::int32_t ahead_minutes = std::abs(time.utc_offset_s) / 60;
  return fmt::format("{} {:02}:{:02}:{:02} {}{:02}:{:02}",
                     date_text(std::chrono::sys_days{floor<days>(time.since_local_epoch())}),
                     second / 3600, second / 60 % 60, second % 60,
                     time.utc_offset_s < 0 ? '-' : '+', ahead_minutes / 60, ahead_minutes % 60);
}

}  // namespace plexor::base
