#include "base/calendar.hpp"

#include <charconv>

namespace plexor::base {

namespace {

/// -1 if there is anything else than digits.
int digits(std::string_view text) {
  int value = -1;
  const char* end = text.data() + text.size();
  const auto [stop, error] = std::from_chars(text.data(), end, value);
  return error == std::errc{} && stop == end ? value : -1;
}

}  // namespace

std::optional<std::chrono::sys_days> day_of(std::string_view text) {
  if (text.size() < 10 || text[4] != '-' || text[7] != '-') return std::nullopt;
  const int year = digits(text.substr(0, 4));
  const int month = digits(text.substr(5, 2));
  const int day = digits(text.substr(8, 2));
  if (year < 1970 || month < 0 || day < 0) return std::nullopt;
  const std::chrono::year_month_day date{std::chrono::year{year},
                                         std::chrono::month{static_cast<unsigned>(month)},
                                         std::chrono::day{static_cast<unsigned>(day)}};
  if (!date.ok()) return std::nullopt;
  return std::chrono::sys_days{date};
}

}  // namespace plexor::base
