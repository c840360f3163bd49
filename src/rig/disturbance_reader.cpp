#include "rig/disturbance_reader.hpp"

namespace plexor::rig {

void DisturbanceReader::take(bool active, base::Instant at) {
  if (active && !from_) from_ = at;
  if (active_ && !active) fades_at_ = at + tail_;
  active_ = active;
}

std::optional<base::Instant> DisturbanceReader::settles_at() const {
  if (!from_) return std::nullopt;
  return active_ ? *from_ + longest_piece : fades_at_;
}

std::optional<DisturbanceReader::Span> DisturbanceReader::settled(base::Instant now) {
  const auto at = settles_at();
  if (!at || now < *at) return std::nullopt;
  const Span span{*from_, active_ ? now : *at};
  from_ = active_ ? std::optional{now} : std::nullopt;
  return span;
}

}  // namespace plexor::rig
