#pragma once

#include <vector>

#include "rig/finding.hpp"
#include "rig/rig_file.hpp"

namespace plexor::rig {

/// Checks one way of a device that is a socket: that the address is free and its peers can
/// come there, or that the device can be reached and how long that took. Takes some seconds at
/// most for each of its addresses, and as long as the system looks for a name; nothing is
/// kept open. Throws base::RigFault if the address can't be had.
[[nodiscard]] std::vector<Finding> check_socket(const Device& device,
                                                const ListenerSettings& settings);

}  // namespace plexor::rig
