#include "rig/rate_cap.hpp"

#include <algorithm>

namespace plexor::rig {

bool RateCap::lets_pass(lines::KernelInstant at) {
  constexpr base::Duration each = base::Duration{std::chrono::seconds{1}} / per_second;
  const lines::KernelInstant from = std::max(full_at_, at);
  if (from - at > each * (at_once - 1)) {
    ++held_back_;
    return false;
  }
  full_at_ = from + each;
  return true;
}

}  // namespace plexor::rig
