#pragma once

#include "rig/looking_again.hpp"

namespace plexor::rig {

/// How patient a listener on sockets is.
struct SocketLimits {
  base::Duration connect = std::chrono::seconds{5};  ///< to reach one address
  base::Duration first_wait = first_look;            ///< before it looks again
  base::Duration longest_wait = longest_look;
  base::Duration hello_every = std::chrono::seconds{10};    ///< UDP
  base::Duration refusal = std::chrono::seconds{1};         ///< UDP: a hello is refused within
  base::Duration without_losses = std::chrono::seconds{1};  ///< UDP: then all is heard again
  base::Duration staying =
      std::chrono::seconds{5};  ///< TCP: before one that comes and goes is there
  /// What has come of a message waits so long for the rest; then its connection is dropped.
  base::Duration half_message = std::chrono::seconds{10};
};

}  // namespace plexor::rig
