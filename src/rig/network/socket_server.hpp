#pragma once

#include <memory>
#include <string>

#include "rig/listener_settings.hpp"
#include "rig/network/socket_ear.hpp"
#include "rig/network/socket_limits.hpp"

namespace plexor::rig {

/// Where devices come to, or send to: one address and port, on a thread of its own, for all ears
/// there. What comes from a peer that none of them expects is not read; that is remarked.
class SocketServer {
 public:
  /// Connections at one server; whoever has the most loses the oldest to a new one.
  static constexpr std::size_t most_connections = 16;
  /// A datagram that is longer is dropped.
  static constexpr std::size_t longest_datagram = 8192;

  /// Throws base::RigFault if the address can't be had.
  [[nodiscard]] static std::shared_ptr<SocketServer> open(const SocketSettings& settings,
                                                          const SocketLimits& limits = {});
  virtual ~SocketServer() = default;
  SocketServer(const SocketServer&) = delete;
  SocketServer& operator=(const SocketServer&) = delete;

  /// From now on the ear is told, on the server's thread, until `remove` returns. All ears of
  /// a server have its framing.
  virtual void add(SocketEar& ear) = 0;
  /// Not by an ear that is being told.
  virtual void remove(SocketEar& ear) = 0;
  /// Whether the kernel stamps what comes.
  [[nodiscard]] virtual bool is_stamped() const = 0;

 protected:
  SocketServer() = default;
};

}  // namespace plexor::rig
