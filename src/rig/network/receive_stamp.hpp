#pragma once

#include <sys/socket.h>

#include <cstddef>

#include "lines/lines.hpp"
#include "rig/stamp_width.hpp"

namespace plexor::rig {

/// When something arrived at a socket.
struct ReceiveStamp {
  lines::KernelInstant at;
  bool by_kernel = false;  ///< else by whoever read it, later
};

/// Asks the kernel to stamp what a socket receives (SO_TIMESTAMPING, software stamps, made
/// when the packet comes from the driver). False if it does not.
bool ask_for_stamps(int socket);

/// Room for the control data of one recvmsg with a stamp.
inline constexpr std::size_t stamp_space = 256;

/// The stamp that recvmsg brought in its control data; now, if none.
///
/// The kernel stamps by its wall clock. It is brought to the monotonic clock by reading both
/// now: a step of the wall clock in between would move it, so a stamp that lies in the future
/// or further back than 10 s is not believed.
[[nodiscard]] ReceiveStamp stamp_of(const msghdr& message);

/// When what can be read from a TCP socket arrived, without taking it: the last of its first
/// `most_bytes` (at most 65,536). For libraries that do the reading themselves.
[[nodiscard]] ReceiveStamp peek_stamp(int socket, std::size_t most_bytes = 65'536);

}  // namespace plexor::rig
