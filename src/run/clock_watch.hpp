#pragma once

#include <optional>

#include "rig/ports.hpp"

namespace plexor::run {

/// Notices that people's clocks say another time than was known: the computer's clock was set, or
/// daylight saving began or ended. Pure: it is told what they say, with the run's own time.
class ClockWatch {
 public:
  /// So far off is what the journal says at the most: the small corrections of a time service are
  /// told once they have added up.
  static constexpr base::Duration longest_unsaid = std::chrono::seconds{1};

  /// `known`: what the segment says.
  explicit ClockWatch(const rig::ClockSeen& known) : known_(known) {}

  /// What to tell of it; nothing while it is as known.
  [[nodiscard]] std::optional<rig::ClockSeen> see(const rig::ClockSeen& seen);

 private:
  rig::ClockSeen known_;
};

}  // namespace plexor::run
