#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <vector>

#include "rig/intake.hpp"
#include "rig/network/web_request.hpp"

namespace plexor::rig {

/// Whose a request is: of this path, with this token, from one of these peers (none named:
/// from anywhere).
struct WebHookRoute {
  std::string path;
  std::string token;  ///< not empty
  std::vector<std::string> peers;
  Intake* intake = nullptr;  ///< used on the server's thread until the route is removed
};

/// Waits for HTTP requests at one address and port, on a thread of its own, for all whose
/// routes are added. What an outsider sends is bounded in size, time and number, and so are
/// connections: while there are too many, those go that have shown no token, oldest first.
class WebHookServer {
 public:
  /// Port 0: any that is free. Throws base::RigFault, saying what to do.
  WebHookServer(const std::string& host, std::uint16_t port, const WebHookLimits& limits = {});
  /// Closes all connections; all routes must have been removed.
  ~WebHookServer();
  WebHookServer(const WebHookServer&) = delete;
  WebHookServer& operator=(const WebHookServer&) = delete;

  void add(const WebHookRoute& route);
  /// Removes the routes of an intake, which is left alone once this returns.
  void remove(const Intake& intake);

  [[nodiscard]] std::uint16_t port() const;
  /// The kernel stamps what arrives.
  [[nodiscard]] bool has_kernel_stamps() const;

 private:
  class Door;
  class Guest;
  std::unique_ptr<Door> door_;
};

}  // namespace plexor::rig
