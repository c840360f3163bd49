#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "lines/descriptor.hpp"
#include "lines/lines.hpp"

namespace plexor::app {

/// Tells the service manager that started this process how it gets on, by the datagrams of
/// sd_notify(3); nothing where nobody asked for it (no NOTIFY_SOCKET). They are sent from here and
/// not by libsystemd, because its call waits for a socket that nobody empties: here what can't be
/// sent at once is dropped, and the run goes on.
class ServiceNotice {
 public:
  /// Reads NOTIFY_SOCKET, WATCHDOG_USEC and WATCHDOG_PID.
  ServiceNotice();

  /// The run has begun: from here on the watchdog counts.
  void ready(const std::string& status);
  /// The run's loop has gone round once more. Feeds the watchdog, each time half of its time has
  /// passed; nothing else does, so that it starves when the loop hangs.
  void goes_round();
  /// What is going on, in a few words; at most every few seconds.
  void status(const std::string& status);
  /// The run is over; reports are made and the like. The watchdog gives that an hour.
  void stopping(const std::string& status);

 private:
  /// False if it could not be sent at once.
  [[nodiscard]] bool send(std::string_view message);

  lines::Descriptor socket_;
  std::string address_;  ///< empty: nobody listens
  std::optional<base::Duration> feed_every_;
  lines::KernelInstant feed_at_;
  lines::KernelInstant tell_at_;
  bool is_ready_ = false;
  std::string owed_;  ///< that it is ready: the manager waits for that, so it is sent until it goes
};

}  // namespace plexor::app
