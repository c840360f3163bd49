#pragma once

#include <atomic>
#include <functional>
#include <string>
#include <string_view>
#include <thread>

#include "lines/lines.hpp"

namespace plexor::rig {

/// Listens on a terminal (a serial port, or the pseudo-terminal of a simulated
/// device) on a thread of its own. A port that vanishes is looked for again until it is back.
class PortListener {
 public:
  /// Called on the listener's thread.
  struct Hearers {
    std::function<void(std::string_view line, lines::KernelInstant at)> line;
    std::function<void(bool up, lines::KernelInstant at)> state;
  };

  /// Opens the port; what came before is dropped. Throws base::RigFault if it can't be opened.
  PortListener(std::string port, Hearers hearers);
  ~PortListener();
  PortListener(const PortListener&) = delete;
  PortListener& operator=(const PortListener&) = delete;

 private:
  void live(int descriptor);
  void listen(int descriptor);
  [[nodiscard]] int find_again() const;

  std::string port_;
  Hearers hearers_;
  std::atomic<bool> over_ = false;
  std::thread thread_;
};

}  // namespace plexor::rig
