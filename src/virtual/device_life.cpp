#include "virtual/device_life.hpp"

#include <algorithm>
#include <utility>

namespace plexor::virtual_rig {

using base::Instant;

DeviceLife::DeviceLife(LifeSettings settings) : settings_(std::move(settings)) {
  std::ranges::sort(settings_.hangs_at);
}

Instant DeviceLife::next() const {
  if (state_ == State::starts) return started_;
  const bool may_hang = works() && next_hang_ < settings_.hangs_at.size();
  return may_hang ? base::segment_start + settings_.hangs_at[next_hang_] : Instant::max();
}

void DeviceLife::change() {
  if (state_ == State::starts) {
    state_ = State::works;
    // What would have hung it while it did not work is past.
    while (next_hang_ < settings_.hangs_at.size() && next() <= started_) ++next_hang_;
  } else if (works()) {
    state_ = State::hangs;
    ++next_hang_;
  }
}

void DeviceLife::set_power(bool on, Instant now) {
  if (!on) {
    state_ = State::off;
  } else if (state_ == State::off) {
    state_ = State::starts;
    started_ = now + settings_.boot;
  }
}

}  // namespace plexor::virtual_rig
