#include "rig/sample_line.hpp"

#include <charconv>

#include "rig/line_text.hpp"

namespace plexor::rig {

namespace {

using namespace std::chrono_literals;

std::string_view without_blanks(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  return text;
}

template <typename Number>
std::optional<Number> whole_number(std::string_view text) {
  Number number{};
  const auto [stop, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (error != std::errc{} || stop != text.data() + text.size()) return std::nullopt;
  return number;
}

/// Milliseconds with or without decimals; what is finer than a nanosecond is left out.
bool read_time(std::string_view text, LineSample& into) {
  constexpr std::int64_t latest_ms = 4'000'000'000'000;  // more than a clock of this century needs
  const std::size_t point = text.find('.');
  const auto ms = whole_number<std::int64_t>(text.substr(0, point));
  if (!ms || *ms >= latest_ms || text.front() == '-') return false;
  into.own = *ms * base::Duration{1ms};
  into.resolution = 1ms;
  if (point == std::string_view::npos) return true;
  for (const char digit : text.substr(point + 1)) {
    if (!is_digit(digit)) return false;
    if (into.resolution == 1ns) continue;
    into.resolution /= 10;
    into.own += (digit - '0') * into.resolution;
  }
  return true;
}

}  // namespace

std::optional<LineSample> read_sample(std::string_view line, SampleLine kind) {
  LineSample sample;
  std::string_view value = line;
  if (kind == SampleLine::time_and_value) {
    const std::size_t comma = line.find(',');
    if (comma == std::string_view::npos) return std::nullopt;
    if (!read_time(without_blanks(line.substr(0, comma)), sample)) return std::nullopt;
    value = line.substr(comma + 1);
  }
  const auto number = whole_number<std::int32_t>(without_blanks(value));
  if (!number) return std::nullopt;
  sample.value = *number;
  return sample;
}

}  // namespace plexor::rig
