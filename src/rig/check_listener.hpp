#pragma once

#include <vector>

#include "rig/finding.hpp"
#include "rig/rig_file.hpp"

namespace plexor::rig {

/// That the broker of [publish] answers; nothing is published.
[[nodiscard]] Finding check_publish(const PublishSettings& publish);

/// That somebody listens where [post] posts to; nothing is posted.
[[nodiscard]] Finding check_post(const PostSettings& post);

/// Checks by what a device of a rig of kind lines is heard: that each port or line is
/// there and free, its USB bridge is quick, and it answers the right version. Takes as
/// long as the device's timeout if it does not answer; nothing is kept open.
[[nodiscard]] std::vector<Finding> check_listeners(const Device& device);

}  // namespace plexor::rig
