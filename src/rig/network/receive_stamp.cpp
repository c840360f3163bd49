#include "rig/network/receive_stamp.hpp"

#include <linux/net_tstamp.h>

#include <algorithm>
#include <array>
#include <cstring>
#include <ctime>
#include <optional>

namespace plexor::rig {

namespace {

using lines::KernelInstant;
using namespace std::chrono_literals;

/// The control message SCM_TIMESTAMPING: software, (unused), hardware.
using Timestamps = std::array<timespec, 3>;

base::Duration since_epoch(const timespec& time) {
  return std::chrono::seconds{time.tv_sec} + std::chrono::nanoseconds{time.tv_nsec};
}

std::optional<base::Duration> wall_stamp_of(const msghdr& message) {
  auto& sought = const_cast<msghdr&>(message);  // the macros want it so, and change nothing
  for (cmsghdr* part = CMSG_FIRSTHDR(&sought); part != nullptr; part = CMSG_NXTHDR(&sought, part)) {
    if (part->cmsg_level != SOL_SOCKET || part->cmsg_type != SCM_TIMESTAMPING) continue;
    Timestamps stamps{};
    std::memcpy(stamps.data(), CMSG_DATA(part), sizeof stamps);
    const base::Duration at = since_epoch(stamps[0]);
    if (at > base::Duration::zero()) return at;
  }
  return std::nullopt;
}

base::Duration wall_now() {
  timespec now{};
  clock_gettime(CLOCK_REALTIME, &now);
  return since_epoch(now);
}

/// How far the wall clock is ahead of the monotonic one. Whoever is stopped between reading
/// the one and the other reads anew.
base::Duration wall_ahead() {
  constexpr base::Duration close = 2us;
  constexpr int most_tries = 5;
  base::Duration ahead{};
  base::Duration closest = base::Duration::max();
  for (int i = 0; i < most_tries && closest > close; ++i) {
    const KernelInstant before = lines::kernel_now();
    const base::Duration wall = wall_now();
    const base::Duration apart = lines::kernel_now() - before;
    if (apart >= closest) continue;
    closest = apart;
    ahead = wall - (before + apart / 2).time_since_epoch();
  }
  return ahead;
}

}  // namespace

bool ask_for_stamps(int socket) {
  const int flags = SOF_TIMESTAMPING_RX_SOFTWARE | SOF_TIMESTAMPING_SOFTWARE;
  return setsockopt(socket, SOL_SOCKET, SO_TIMESTAMPING, &flags, sizeof flags) == 0;
}

ReceiveStamp stamp_of(const msghdr& message) {
  constexpr base::Duration longest_age = 10s;
  const KernelInstant now = lines::kernel_now();
  const auto stamp = wall_stamp_of(message);
  if (!stamp) return {now, false};
  const KernelInstant at{*stamp - wall_ahead()};
  const bool is_believed = at <= now && now - at <= longest_age;
  return is_believed ? ReceiveStamp{at, true} : ReceiveStamp{now, false};
}

ReceiveStamp peek_stamp(int socket, std::size_t most_bytes) {
  std::array<char, 65'536> bytes{};
  std::array<char, stamp_space> control{};
  iovec part{bytes.data(), std::min(most_bytes, bytes.size())};
  msghdr message{};
  message.msg_iov = &part;
  message.msg_iovlen = 1;
  message.msg_control = control.data();
  message.msg_controllen = control.size();
  if (recvmsg(socket, &message, MSG_PEEK | MSG_DONTWAIT) <= 0) return {lines::kernel_now(), false};
  return stamp_of(message);
}

}  // namespace plexor::rig
