#pragma once

#include <memory>
#include <optional>
#include <string>

#include "rig/hearers.hpp"
#include "rig/rig_file.hpp"

namespace plexor::rig {

/// Hears one device, on a thread of its own. What can't be heard any more is
/// looked for until it is back, after 100 ms first and every 5 s at last.
class Listener {
 public:
  virtual ~Listener() = default;
  /// The version that the device answered last; waits for an answer if there was
  /// none. Nothing if none comes in time, or the device is not asked: only serial ports ask.
  [[nodiscard]] virtual std::optional<std::string> version(base::Duration patience);
  /// By how much later than it came a report may be stamped: a USB bridge keeps bytes
  /// back for its latency timer, a reader waits for its turn. A rectangular width, which
  /// belongs into the uncertainty of each latency.
  [[nodiscard]] virtual base::Duration arrival_width() const = 0;
};

/// Makes the listeners of one rig. Those that wait at the same address and port share it.
class Listening {
 public:
  Listening();
  ~Listening();
  Listening(const Listening&) = delete;
  Listening& operator=(const Listening&) = delete;

  /// Begins to listen to a device of a rig of kind lines by one of its ways; the listener
  /// must be gone before this is. A device that is asked who it is is heard from its answer
  /// on: `state(false)` if none came in its timeout.
  /// Throws base::RigFault, saying what to do, if its port, line or address can't be had,
  /// and base::InputError for a secret or certificate that can't be used. A server that
  /// can't be reached is no fault: it is looked for.
  [[nodiscard]] std::unique_ptr<Listener> listen(const Device& device,
                                                 const ListenerSettings& settings, Hearers hearers);

 private:
  class Doors;
  std::unique_ptr<Doors> doors_;
};

/// Asks a device who it is, as a run would: for a check of the rig. A run asks its own
/// listener instead (Listener::version), and puts the answer into journal::DeviceFacts::version.
/// Nothing if it does not answer in its timeout or the rig file has no [device.identity].
/// Throws like Listening::listen.
[[nodiscard]] std::optional<std::string> ask_version(const Device& device);

/// What is wrong if a device answers this version; nothing if it is the rig file's.
/// Results would be filed under the wrong release: a run should refuse.
[[nodiscard]] std::optional<std::string> version_complaint(const Device& device,
                                                           const std::string& answered);

}  // namespace plexor::rig
