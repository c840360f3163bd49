#pragma once

#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>

#include "lines/lines.hpp"
#include "rig/rig_file.hpp"

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
  /// gone, or the device has started anew or does not answer who it is.
  std::function<void(bool up, lines::KernelInstant at)> state;
  std::function<void(std::string_view line, lines::KernelInstant at)> line{};  ///< printable, any
  std::function<void(const std::string& text)> remark{};  ///< for people; each thing once
};

/// Hears one device, on a thread of its own. What can't be heard any more is
/// looked for until it is back, after 100 ms first and every 5 s at last.
class Listener {
 public:
  virtual ~Listener() = default;
  /// The version that the device answered last; waits for an answer if there was
  /// none. Nothing if none comes in time, or the device is not asked.
  [[nodiscard]] virtual std::optional<std::string> version(base::Duration patience) = 0;
  /// By how much later than it came a report may be stamped: a USB bridge keeps bytes
  /// back for its latency timer. Belongs into the uncertainty of each latency.
  [[nodiscard]] virtual base::Duration arrival_uncertainty() const = 0;
};

/// Begins to listen to a device of a rig of kind lines. A device that is asked who it
/// is is heard from its answer on: `state(false)` if none came in its timeout.
/// Throws base::RigFault, saying what to do, if its port or line can't be had.
[[nodiscard]] std::unique_ptr<Listener> make_listener(const Device& device, Hearers hearers);

/// Asks a device who it is, as a run would: for a check of the rig. A run asks its own
/// listener instead (Listener::version), and puts the answer into journal::DeviceFacts::version.
/// Nothing if it does not answer in its timeout or the rig file has no [device.identity].
/// Throws like make_listener.
[[nodiscard]] std::optional<std::string> ask_version(const Device& device);

/// What is wrong if a device answers this version; nothing if it is the rig file's.
/// Results would be filed under the wrong release: a run should refuse.
[[nodiscard]] std::optional<std::string> version_complaint(const Device& device,
                                                           const std::string& answered);

}  // namespace plexor::rig
