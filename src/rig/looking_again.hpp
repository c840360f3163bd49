#pragma once

#include <algorithm>
#include <utility>

#include "base/time.hpp"

namespace plexor::rig {

/// How long a listener waits before it looks again for what it can't hear: so long first, then
/// twice as long each time, and so long at last.
inline constexpr base::Duration first_look = std::chrono::milliseconds{100};
inline constexpr base::Duration longest_look = std::chrono::seconds{5};

/// That wait, as it grows.
class GrowingWait {
 public:
  explicit GrowingWait(base::Duration first = first_look, base::Duration longest = longest_look)
      : first_(first), longest_(longest), next_(first) {}
  /// For now; the next one is twice as long.
  [[nodiscard]] base::Duration take() {
    return std::exchange(next_, std::min(next_ * 2, longest_));
  }
  /// What was looked for has been there for a while: it is missed anew the next time.
  void begin_anew() { next_ = first_; }

 private:
  base::Duration first_;
  base::Duration longest_;
  base::Duration next_;
};

}  // namespace plexor::rig
