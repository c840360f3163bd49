#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include "base/time.hpp"

namespace re2 {
class RE2;
}

namespace plexor::rig {

/// What one line of a device says.
struct LineReading {
  std::string event;
  std::string device{};                         ///< whom the line is from; empty if it does not say
  std::optional<base::Duration> device_time{};  ///< by the device's own clock
  std::optional<double> strength{};             ///< the device's own figure
  std::string id{};                             ///< of the message; empty if it has none
};

/// The number or the milliseconds that a text says; nothing if it is no finite number.
[[nodiscard]] std::optional<double> number_in(const std::string& text);
[[nodiscard]] std::optional<base::Duration> milliseconds_in(const std::string& text);

/// A pattern as rig files have it, found anywhere in a line. Safe for use by several threads.
class LinePattern {
 public:
  /// What is wrong with a pattern that must have the group `needed` and may have
  /// the groups `allowed` (separated by spaces); nothing if it can be used. `needed` may be empty.
  [[nodiscard]] static std::optional<std::string> complaint(const std::string& pattern,
                                                            const std::string& needed,
                                                            const std::string& allowed);
  /// A pattern without complaint; else it is our own bug: std::logic_error.
  explicit LinePattern(const std::string& pattern);

  [[nodiscard]] bool is_in(std::string_view line) const;
  /// What the group took; nothing if the pattern is not in the line.
  [[nodiscard]] std::optional<std::string> group(std::string_view line,
                                                 const std::string& name) const;

 private:
  friend class ReportPattern;
  std::shared_ptr<const re2::RE2> expression_;
};

/// From a line to what it says.
class ReportPattern {
 public:
  static constexpr std::size_t longest_event = 60;  ///< bytes; longer names are cut

  [[nodiscard]] static std::optional<std::string> complaint(const std::string& pattern);
  /// Empty: the whole line is the event, if there is one. Else a pattern without complaint.
  explicit ReportPattern(const std::string& pattern);

  /// Nothing if the line is no report. `line` is printable (see line_text.hpp).
  /// A time or strength that is no finite number is as if it were not there.
  [[nodiscard]] std::optional<LineReading> read(std::string_view line) const;

 private:
  std::optional<LinePattern> pattern_;
};

}  // namespace plexor::rig
