#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "base/time.hpp"

namespace plexor::rig {

/// Why no TCP connection to host and port can be made; nothing if one could, which is closed
/// at once. Takes no longer than `patience`, and ends early once `give_up` can be read.
[[nodiscard]] std::optional<std::string> unreachable(const std::string& host, std::uint16_t port,
                                                     base::Duration patience, int give_up = -1);

}  // namespace plexor::rig
