#include "run/clock_watch.hpp"

namespace plexor::run {

std::optional<rig::ClockSeen> ClockWatch::see(const rig::ClockSeen& seen) {
  const base::Duration by_wall{seen.wall_ns - known_.wall_ns};
  const bool was_set = std::chrono::abs(by_wall - (seen.at - known_.at)) > longest_unsaid;
  if (!was_set && seen.utc_offset_s == known_.utc_offset_s) return std::nullopt;
  known_ = seen;
  return seen;
}

}  // namespace plexor::run
