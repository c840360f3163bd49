#pragma once

#include <boost/asio/ip/udp.hpp>
#include <boost/system/error_code.hpp>
#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

#include "rig/network/receive_stamp.hpp"

namespace plexor::rig {

/// What one read of a socket brought.
struct Received {
  std::string_view bytes{};           ///< in the room that was given
  boost::system::error_code error{};  ///< then nothing else is there
  ReceiveStamp stamp{};
  boost::asio::ip::udp::endpoint from{};  ///< of a datagram
  bool is_cut = false;                    ///< the datagram is longer than the room
  /// How many datagrams the kernel has dropped since the socket was opened; nothing if it
  /// does not say. See ask_for_losses.
  std::optional<std::uint32_t> lost{};

  [[nodiscard]] bool must_wait() const;  ///< nothing is there now
};

/// Reads once, without waiting, and stamps what came before anything else is done with it.
[[nodiscard]] Received receive(int socket, std::span<char> room);

/// Asks the kernel to say how many datagrams it dropped (SO_RXQ_OVFL).
void ask_for_losses(int socket);

/// Lets the kernel notice within about 15 s that a TCP peer is dead that says nothing.
void keep_alive(int socket);

}  // namespace plexor::rig
