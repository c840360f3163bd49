#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <string>
#include <string_view>

#include "rig/wall_clock.hpp"
#include "run/marks.hpp"

// What people write while a run goes on: a line of the file of marks is a mark that is written and
// read back the same, or none; a time on the command line is a moment of a clock, or none.

namespace {

using namespace plexor;

void require(bool promise) {
  if (!promise) std::abort();
}

void check_mark(std::string_view line) {
  const auto mark = run::mark_in(line);
  if (!mark) return;
  require(!mark->name.empty() && mark->name.size() <= run::longest_mark_name);
  require(mark->from_unix_ns >= 0 && mark->from_unix_ns <= mark->to_unix_ns);
  std::string line_again = run::line_of(*mark);
  require(line_again.find('\n') == line_again.size() - 1);
  line_again.pop_back();
  require(run::mark_in(line_again) == mark);
}

void check_time(const base::WallTime& time) {
  constexpr std::int64_t year_2201_ns = 7'289'654'400'000'000'000;
  require(time.unix_ns > -year_2201_ns && time.unix_ns < year_2201_ns);
  require(time.utc_offset_s > -86'400 && time.utc_offset_s < 86'400);
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::string_view text(reinterpret_cast<const char*>(data), size);
  check_mark(text);
  const base::WallTime now{1'780'344'000'000'000'000, 7200};  // 2026-06-01 20:00 UTC
  for (const rig::Side side : {rig::Side::next, rig::Side::last}) {
    if (const auto time = rig::local_time_of(text, now, side)) check_time(*time);
  }
  if (const auto time = rig::date_and_time_of(text)) check_time(time->time);
  return 0;
}
