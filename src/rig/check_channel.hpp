#pragma once

#include <vector>

#include "rig/finding.hpp"
#include "rig/rig_file.hpp"

namespace plexor::rig {

/// Checks by what a channel of a rig of kind lines is heard: that its port or file is there and
/// free, and that samples come, at about its rate and within its codes. Takes about 1.3 s; nothing
/// is kept open.
[[nodiscard]] std::vector<Finding> check_channel(const Channel& channel);

}  // namespace plexor::rig
