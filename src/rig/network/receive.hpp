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

/// Datagrams that the kernel has dropped: so many, after the one that came at `since`.
struct DatagramsLost {
  std::uint32_t datagrams = 0;
  lines::KernelInstant since;
};

/// Of one socket. The kernel's count travels with each datagram, as it was when that came.
class Losses {
 public:
  /// What was dropped between the datagram before and this one, if anything was.
  [[nodiscard]] std::optional<DatagramsLost> count(const Received& datagram);

 private:
  std::uint32_t lost_ = 0;
  std::optional<lines::KernelInstant> last_;
};

/// Lets the kernel notice within about 15 s that a TCP peer is dead that says nothing.
void keep_alive(int socket);

/// When the peer of a TCP connection, also of one that has failed, last sent or acknowledged
/// anything (TCP_INFO, to about 4 ms); now if the kernel does not say.
[[nodiscard]] lines::KernelInstant last_sign_of(int socket);

}  // namespace plexor::rig
