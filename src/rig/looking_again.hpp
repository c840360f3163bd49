#pragma once

#include "base/time.hpp"

namespace plexor::rig {

/// How long a listener waits before it looks again for what it can't hear: so long first, then
/// twice as long each time, and so long at last.
inline constexpr base::Duration first_look = std::chrono::milliseconds{100};
inline constexpr base::Duration longest_look = std::chrono::seconds{5};

}  // namespace plexor::rig
