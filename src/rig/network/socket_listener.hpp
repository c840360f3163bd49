#pragma once

#include <memory>
#include <string>

#include "rig/listener.hpp"
#include "rig/listener_settings.hpp"
#include "rig/network/socket_client.hpp"
#include "rig/network/socket_server.hpp"

namespace plexor::rig {

/// Hears a device that sends lines or syslog messages over TCP or UDP. Each message is stamped
/// by the kernel where it can be. Over TCP the kernel knows only when the newest of what is read
/// at once came: of messages that come faster than this thread has its turn, the earlier ones
/// are stamped too late, by as long as it waited.
///
/// Where we go to the device it can't be heard without a connection; over UDP if its computer
/// says that nobody is there, until it answers. Where it comes to us by TCP and stays
/// connected it can't be heard until it comes; else it is always up.
class SocketListener final : public Listener {
 public:
  /// `device`: its name, for people and for the pattern's group. `server`: of the settings'
  /// address and port; nothing if the device does not come to us.
  SocketListener(std::string device, const SocketSettings& settings, Hearers hearers,
                 std::shared_ptr<SocketServer> server, const SocketLimits& limits = {});
  ~SocketListener() override;
  SocketListener(const SocketListener&) = delete;
  SocketListener& operator=(const SocketListener&) = delete;

  [[nodiscard]] base::Duration arrival_width() const override;

 private:
  SocketEar ear_;
  std::shared_ptr<SocketServer> server_;
  std::unique_ptr<SocketClient> client_;
};

}  // namespace plexor::rig
