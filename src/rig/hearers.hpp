#pragma once

#include <functional>
#include <optional>
#include <string>
#include <string_view>

#include "base/time.hpp"
#include "lines/lines.hpp"

namespace plexor::rig {

/// One thing that a device reported.
struct Report {
  std::string event;  ///< printable, at most ReportPattern::longest_event bytes
  std::optional<base::Duration> device_time{};
  std::optional<double> strength{};
  lines::KernelInstant at;  ///< of its arrival
};

/// Whom a listener tells; called on the listener's thread.
struct Hearers {
  std::function<void(const Report&)> report;
  /// A listener begins as up; from then on it tells each change. Down: the port is
  /// gone, the connection is lost, or the device has started anew or does not answer who it is.
  /// `at`, when down: since when something may have been missed, often before it was noticed.
  std::function<void(bool up, lines::KernelInstant at)> state;
  std::function<void(std::string_view line, lines::KernelInstant at)> line{};  ///< printable, any
  std::function<void(const std::string& text)> remark{};  ///< for people; each thing once
};

/// Nobody: for who only wants to see that a listener can be made.
[[nodiscard]] inline Hearers nobody() {
  return {.report = [](const Report&) {}, .state = [](bool, lines::KernelInstant) {}};
}

}  // namespace plexor::rig
