#include "app/knock_file.hpp"

#include <fmt/format.h>

#include <cerrno>
#include <charconv>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <string_view>
#include <system_error>
#include <utility>

#include "base/error.hpp"
#include "rig/line_text.hpp"

namespace plexor::app {

namespace {

constexpr unsigned most_lines = 10'000'000;
constexpr std::size_t longest_shown = 40;

std::string_view trimmed_line(std::string_view text) {
  constexpr std::string_view blanks = " \r";
  const std::size_t from = text.find_first_not_of(blanks);
  if (from == std::string_view::npos) return {};
  return text.substr(from, text.find_last_not_of(blanks) - from + 1);
}

std::optional<double> number_in(std::string_view text) {
  text = trimmed_line(text);
  double value = 0.0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  const bool is_whole = error == std::errc{} && end == text.data() + text.size();
  if (!is_whole || !std::isfinite(value)) return std::nullopt;
  return value;
}

std::vector<std::string_view> columns_of(std::string_view line) {
  std::vector<std::string_view> columns;
  for (;;) {
    const std::size_t end = line.find_first_of(",;\t");
    columns.push_back(line.substr(0, end));
    if (end == std::string_view::npos) return columns;
    line.remove_prefix(end + 1);
  }
}

class KnockFileReader {
 public:
  KnockFileReader(std::string file, const KnockFileFormat& format)
      : place_{std::move(file), 0, 0}, format_(format) {}

  [[nodiscard]] KnockFile read(std::istream& in) {
    std::string line;
    while (std::getline(in, line)) {
      if (++place_.line > most_lines) {
        fail("more than ten million lines", "a shorter recording");
      }
      take(line);
    }
    if (in.bad()) throw base::InputError({place_.file, 0, 0}, "an unreadable file", expected());
    return std::move(content_);
  }

 private:
  void take(std::string_view line) {
    constexpr std::string_view byte_order_mark = "\xef\xbb\xbf";
    if (place_.line == 1 && line.starts_with(byte_order_mark)) {
      line.remove_prefix(byte_order_mark.size());
    }
    line = trimmed_line(line);
    if (line.empty() || line.front() == '#') return;
    const bool is_first = !std::exchange(begun_, true);
    std::vector<double> numbers;
    for (const std::string_view column : columns_of(line)) {
      const auto number = number_in(column);
      if (!number && is_first && has_names(line)) return;
      if (!number) fail_at(line);
      numbers.push_back(*number);
    }
    store(numbers, line);
  }

  /// A first line of names has no number in it.
  [[nodiscard]] static bool has_names(std::string_view line) {
    for (const std::string_view column : columns_of(line)) {
      if (number_in(column)) return false;
    }
    return true;
  }

  void store(const std::vector<double>& numbers, std::string_view line) {
    if (format_.knocks) {
      if (numbers.size() > 2) fail_at(line);
      const double at_s = rising(numbers[0] * format_.seconds_per_unit);
      content_.knocks.push_back({at_s});
      if (numbers.size() == 2) content_.knocks.back().strength = numbers[1];
    } else if (format_.rate_hz) {
      if (numbers.size() != 1) fail_at(line);
      content_.times_s.push_back(static_cast<double>(content_.values.size()) / *format_.rate_hz);
      content_.values.push_back(numbers[0]);
    } else {
      if (numbers.size() != 2) fail_at(line);
      content_.times_s.push_back(rising(numbers[0] * format_.seconds_per_unit));
      content_.values.push_back(numbers[1]);
    }
  }

  double rising(double time_s) {
    if (last_s_ && time_s <= *last_s_) {
      fail(fmt::format("a time of {:.9g} s after one of {:.9g} s", time_s, *last_s_),
           "times that rise");
    }
    last_s_ = time_s;
    return time_s;
  }

  [[nodiscard]] std::string expected() const {
    if (format_.knocks) return "a knock: time, or time,strength";
    return format_.rate_hz ? "one value a line" : "time,value";
  }

  [[noreturn]] void fail(const std::string& found, const std::string& expected,
                         const std::string& remedy = {}) const {
    throw base::InputError(place_, found, expected, remedy);
  }

  [[noreturn]] void fail_at(std::string_view line) const {
    const bool is_one_value = !format_.knocks && !format_.rate_hz && number_in(line).has_value();
    const std::string printable = rig::printable(line);
    fail(fmt::format("\"{}\"", rig::cut(printable, longest_shown)), expected(),
         is_one_value ? "give --rate-hz if lines are values alone, --knocks if they are knocks"
                      : "");
  }

  base::Place place_;
  KnockFileFormat format_;
  KnockFile content_{};
  bool begun_ = false;
  std::optional<double> last_s_{};
};

}  // namespace

KnockFile read_knock_file(const std::string& path, const KnockFileFormat& format) {
  if (path == "-") return KnockFileReader("standard input", format).read(std::cin);
  const base::Place place{path, 0, 0};
  std::error_code error;
  if (std::filesystem::is_directory(path, error)) {
    throw base::InputError(place, "a folder", "a readable file of samples or knocks");
  }
  std::ifstream in(path, std::ios::binary);
  if (!in) {
    throw base::InputError(place, std::error_code(errno, std::generic_category()).message(),
                           "a readable file of samples or knocks");
  }
  return KnockFileReader(path, format).read(in);
}

}  // namespace plexor::app
