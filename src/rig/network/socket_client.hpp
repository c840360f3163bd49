#pragma once

#include <memory>

#include "rig/network/socket_ear.hpp"
#include "rig/network/socket_limits.hpp"

namespace plexor::rig {

/// Goes to where a device waits, and stays there, on a thread of its own. What can't be reached
/// is looked for.
class SocketClient {
 public:
  /// `ear` outlives it.
  [[nodiscard]] static std::unique_ptr<SocketClient> go(SocketEar& ear,
                                                        const SocketLimits& limits = {});
  virtual ~SocketClient() = default;
  SocketClient(const SocketClient&) = delete;
  SocketClient& operator=(const SocketClient&) = delete;

 protected:
  SocketClient() = default;
};

}  // namespace plexor::rig
