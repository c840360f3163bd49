#include "rig/report_pattern.hpp"

#include <fmt/format.h>
#include <re2/re2.h>

#include <array>
#include <charconv>
#include <cmath>
#include <stdexcept>

#include "rig/line_text.hpp"

namespace plexor::rig {

namespace {

constexpr std::int64_t most_memory = 4 << 20;

std::shared_ptr<const re2::RE2> compile(const std::string& pattern) {
  RE2::Options options;
  options.set_log_errors(false);
  options.set_max_mem(most_memory);
  return std::make_shared<const re2::RE2>(pattern, options);
}

bool is_listed(const std::string& word, const std::string& words) {
  return (" " + words + " ").find(" " + word + " ") != std::string::npos;
}

/// All groups of a match, by number; nothing if there is none.
std::optional<std::vector<re2::StringPiece>> match(const RE2& expression, std::string_view line) {
  const re2::StringPiece text(line.data(), line.size());
  std::vector<re2::StringPiece> groups(
      static_cast<std::size_t>(expression.NumberOfCapturingGroups()) + 1);
  const bool found = expression.Match(text, 0, text.size(), RE2::UNANCHORED, groups.data(),
                                      static_cast<int>(groups.size()));
  if (!found) return std::nullopt;
  return groups;
}

std::string named(const RE2& expression, const std::vector<re2::StringPiece>& groups,
                  const std::string& name) {
  const auto& numbers = expression.NamedCapturingGroups();
  const auto number = numbers.find(name);
  if (number == numbers.end()) return {};
  const re2::StringPiece& taken = groups[static_cast<std::size_t>(number->second)];
  return taken.data() == nullptr ? std::string() : std::string(taken.data(), taken.size());
}

}  // namespace

std::optional<double> number_in(const std::string& text) {
  double value = 0.0;
  const char* end = text.data() + text.size();
  const auto [stop, error] = std::from_chars(text.data(), end, value);
  if (error != std::errc{} || stop != end || !std::isfinite(value)) return std::nullopt;
  return value;
}

std::optional<base::Duration> milliseconds_in(const std::string& text) {
  constexpr double longest_ms = 1e12;  // 32 years
  const auto ms = number_in(text);
  if (!ms || std::abs(*ms) > longest_ms) return std::nullopt;
  return base::Duration{std::llround(*ms * 1e6)};
}

std::optional<std::string> LinePattern::complaint(const std::string& pattern,
                                                  const std::string& needed,
                                                  const std::string& allowed) {
  constexpr std::size_t longest_pattern = 500;
  if (pattern.size() > longest_pattern) return fmt::format("over {} bytes", longest_pattern);
  const auto expression = compile(pattern);
  if (!expression->ok()) {
    const bool other_form = pattern.find("(?<") != std::string::npos;
    return expression->error() + (other_form ? " (named groups are written (?P<name>...))" : "");
  }
  const auto& groups = expression->NamedCapturingGroups();
  for (const auto& [name, number] : groups) {
    if (name != needed && !is_listed(name, allowed)) {
      return fmt::format("unknown group \"{}\"", name);
    }
  }
  if (!needed.empty() && !groups.contains(needed)) return "no group (?P<" + needed + ">...)";
  return std::nullopt;
}

LinePattern::LinePattern(const std::string& pattern) : expression_(compile(pattern)) {
  if (!expression_->ok()) throw std::logic_error("a pattern that was not checked: " + pattern);
}

bool LinePattern::is_in(std::string_view line) const {
  return match(*expression_, line).has_value();
}

std::optional<std::string> LinePattern::group(std::string_view line,
                                              const std::string& name) const {
  const auto groups = match(*expression_, line);
  if (!groups) return std::nullopt;
  return named(*expression_, *groups, name);
}

std::optional<std::string> ReportPattern::complaint(const std::string& pattern) {
  return LinePattern::complaint(pattern, "event", "device device_time_ms strength id");
}

ReportPattern::ReportPattern(const std::string& pattern) {
  if (!pattern.empty()) pattern_.emplace(pattern);
}

std::optional<LineReading> ReportPattern::read(std::string_view line) const {
  if (!pattern_ && line.empty()) return std::nullopt;
  if (!pattern_) return LineReading{std::string(cut(line, longest_event))};
  const RE2& expression = *pattern_->expression_;
  const auto groups = match(expression, line);
  if (!groups) return std::nullopt;
  const auto taken = [&](const std::string& name) { return named(expression, *groups, name); };
  LineReading reading{std::string(cut(taken("event"), longest_event)), taken("device"),
                      milliseconds_in(taken("device_time_ms")), number_in(taken("strength")),
                      std::string(cut(taken("id"), longest_event))};
  if (reading.event.empty()) return std::nullopt;
  return reading;
}

}  // namespace plexor::rig
