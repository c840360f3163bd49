#pragma once

#include <vector>

#include "rig/finding.hpp"
#include "rig/rig_file.hpp"

namespace plexor::rig {

/// Checks by what a device of a rig of kind lines is heard: that its port or line is
/// there and free, its USB bridge is quick, and it answers the right version. Takes as
/// long as the device's timeout if it does not answer; nothing is kept open.
[[nodiscard]] std::vector<Finding> check_listener(const Device& device);

}  // namespace plexor::rig
