#pragma once

#include "base/time.hpp"

namespace plexor::rig {

/// By how much later than it came something may be stamped, by who stamped it: a rectangular
/// width. Common practice, no source: an interrupt is served within 100 us, and a reader's turn
/// comes within 1 ms on a computer that is not overloaded.
[[nodiscard]] constexpr base::Duration stamp_width(bool by_kernel) {
  return by_kernel ? std::chrono::microseconds{100} : std::chrono::milliseconds{1};
}

}  // namespace plexor::rig
