#include "base/calendar.hpp"

#include <fmt/format.h>

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

std::string date_text(std::chrono::sys_days day) {
  const std::chrono::year_month_day date{day};
  return fmt::format("{:04}-{:02}-{:02}", static_cast<int>(date.year()),
                     static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()));
}

std::optional<std::chrono::sys_seconds> moment_of(std::string_view text) {
  constexpr std::string_view form = "2026-05-18T19:30:00Z";
  if (text.size() != form.size()) return std::nullopt;
  for (const std::size_t mark : {10U, 13U, 16U, 19U}) {
    if (text[mark] != form[mark]) return std::nullopt;
  }
  const auto day = day_of(text);
  const int hour = digits(text.substr(11, 2));
  const int minute = digits(text.substr(14, 2));
  const int second = digits(text.substr(17, 2));
  const bool in_a_day = hour >= 0 && hour < 24 && minute >= 0 && minute < 60 && second >= 0;
  if (!day || !in_a_day || second > 60) return std::nullopt;
  return *day + std::chrono::hours{hour} + std::chrono::minutes{minute} +
         std::chrono::seconds{second};
}

}  // namespace plexor::base
