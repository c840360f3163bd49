#include "rig/edge_reader.hpp"

#include <utility>

namespace plexor::rig {

void EdgeReader::take(lines::Level level, lines::KernelInstant at) {
  const bool bounces = last_edge_ && at - *last_edge_ < settings_.debounce;
  last_edge_ = at;
  const bool activated = level == lines::Level::active;
  if (settings_.report == LineReport::level) {
    // Each edge begins anew: what does not hold is nothing.
    if (activated) {
      pending_ = Meaning{1, at};
    } else {
      pending_.reset();
    }
    return;
  }
  if (!activated || bounces) return;
  pending_ = Meaning{pending_ ? pending_->pulses + 1 : 1, at};
}

std::optional<lines::KernelInstant> EdgeReader::settles_at() const {
  if (!pending_) return std::nullopt;
  return pending_->at + hold_back(settings_);
}

std::optional<EdgeReader::Meaning> EdgeReader::settled(lines::KernelInstant now) {
  const auto at = settles_at();
  if (!at || now < *at) return std::nullopt;
  return std::exchange(pending_, std::nullopt);
}

}  // namespace plexor::rig
