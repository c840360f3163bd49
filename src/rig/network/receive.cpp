#include "rig/network/receive.hpp"

#include <netinet/in.h>
#include <netinet/tcp.h>

#include <algorithm>
#include <array>
#include <boost/asio/error.hpp>
#include <cerrno>
#include <cstring>

namespace plexor::rig {

namespace {

namespace asio = boost::asio;

std::optional<std::uint32_t> losses_in(msghdr& message) {
  for (cmsghdr* part = CMSG_FIRSTHDR(&message); part != nullptr;
       part = CMSG_NXTHDR(&message, part)) {
    if (part->cmsg_level != SOL_SOCKET || part->cmsg_type != SO_RXQ_OVFL) continue;
    std::uint32_t lost = 0;
    std::memcpy(&lost, CMSG_DATA(part), sizeof lost);
    return lost;
  }
  return std::nullopt;
}

void set_option(int socket, int level, int name, int value) {
  (void)setsockopt(socket, level, name, &value, sizeof value);
}

}  // namespace

bool Received::must_wait() const {
  return error == asio::error::would_block || error == asio::error::try_again ||
         error == asio::error::interrupted;
}

Received receive(int socket, std::span<char> room) {
  Received received;
  std::array<char, stamp_space> control{};
  iovec part{room.data(), room.size()};
  msghdr message{};
  message.msg_name = received.from.data();
  message.msg_namelen = static_cast<socklen_t>(received.from.capacity());
  message.msg_iov = &part;
  message.msg_iovlen = 1;
  message.msg_control = control.data();
  message.msg_controllen = control.size();
  const ssize_t bytes = recvmsg(socket, &message, MSG_DONTWAIT);
  if (bytes < 0) {
    received.error.assign(errno, boost::system::system_category());
    received.stamp.at = lines::kernel_now();
    return received;
  }
  received.stamp = stamp_of(message);
  received.bytes = {room.data(), static_cast<std::size_t>(bytes)};
  if (message.msg_namelen > 0) received.from.resize(message.msg_namelen);
  received.is_cut = (message.msg_flags & MSG_TRUNC) != 0;
  received.lost = losses_in(message);
  return received;
}

void ask_for_losses(int socket) { set_option(socket, SOL_SOCKET, SO_RXQ_OVFL, 1); }

std::optional<DatagramsLost> Losses::count(const Received& datagram) {
  const std::uint32_t more = datagram.lost.value_or(lost_) - lost_;
  const lines::KernelInstant since = last_.value_or(datagram.stamp.at);
  lost_ += more;
  last_ = datagram.stamp.at;
  if (more == 0) return std::nullopt;
  return DatagramsLost{more, since};
}

lines::KernelInstant last_sign_of(int socket) {
  tcp_info facts{};
  socklen_t length = sizeof facts;
  const lines::KernelInstant now = lines::kernel_now();
  if (getsockopt(socket, IPPROTO_TCP, TCP_INFO, &facts, &length) != 0) return now;
  const std::uint32_t ago_ms = std::min(facts.tcpi_last_data_recv, facts.tcpi_last_ack_recv);
  return now - std::chrono::milliseconds{ago_ms};
}

void keep_alive(int socket) {
  constexpr int quiet_s = 5;
  constexpr int between_s = 3;
  constexpr int questions = 3;
  constexpr int unacknowledged_ms = 15'000;
  set_option(socket, SOL_SOCKET, SO_KEEPALIVE, 1);
  set_option(socket, IPPROTO_TCP, TCP_KEEPIDLE, quiet_s);
  set_option(socket, IPPROTO_TCP, TCP_KEEPINTVL, between_s);
  set_option(socket, IPPROTO_TCP, TCP_KEEPCNT, questions);
  set_option(socket, IPPROTO_TCP, TCP_USER_TIMEOUT, unacknowledged_ms);
}

}  // namespace plexor::rig
