#pragma once

#include <cstdint>
#include <string>

#include "base/time.hpp"

namespace plexor::rig {

/// Where a TCP connection could be made.
struct Reached {
  std::string address;    ///< as a number
  std::string complaint;  ///< why there is none; then `address` is empty
};

/// Which of a name's addresses will do.
enum class Addresses : std::uint8_t { any, only_first };

/// Tries one address of the host after the other; the connection is closed at once. Takes no
/// longer than `patience`, the look-up included, and ends early once `give_up` can be read.
[[nodiscard]] Reached reach(const std::string& host, std::uint16_t port, Addresses which,
                            base::Duration patience, int give_up = -1);

}  // namespace plexor::rig
