#include "virtual/power_chain.hpp"

namespace plexor::virtual_rig {

void PowerChain::gate(bool active, lines::KernelInstant at) {
  if (!active) {
    gate_on_since_.reset();
  } else if (!gate_on_since_) {
    gate_on_since_ = at;
  }
}

bool PowerChain::coil_on(lines::KernelInstant now) const {
  const bool one_shot_up = fed_at_ && now - *fed_at_ < setting_.one_shot;
  const bool within_on_time =
      gate_on_since_ && (!setting_.longest_on || now - *gate_on_since_ < *setting_.longest_on);
  return loop_ && lid_ && enable_ && one_shot_up && within_on_time;
}

}  // namespace plexor::virtual_rig
