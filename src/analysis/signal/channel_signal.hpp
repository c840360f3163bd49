#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "analysis/intervals.hpp"
#include "analysis/signal/surface_signal.hpp"
#include "analysis/signal/trigger_advice.hpp"

namespace plexor::analysis {

/// The same strike's peak in the second half of the run against the first, at one spot: a dent or a
/// mounting that comes loose shows here first.
struct PeakChange {
  std::uint64_t taps = 0;
  double change = 0.0;  ///< 0.1 is a tenth more
  Interval interval{};  ///< two-sided 95 %
};

/// What one channel showed of the surface, at one spot.
struct SpotSignal {
  std::uint32_t spot = 0;  ///< index into the scenario's
  SurfaceSignal signal;
  std::optional<PeakChange> change{};  ///< nothing for too few taps
};

struct ChannelSignal {
  std::uint32_t channel = 0;  ///< index into the rig's
  std::vector<SpotSignal> spots{};
  /// For a detector on this channel; over all spots.
  TriggerAdvice advice{};
  double softest_m_s = 0.0;            ///< that was wanted to be heard
  double most_false_per_hour = 0.0;    ///< that were allowed
  double shortest_interval_s = 0.0;    ///< of the rhythms, jitter included; 0: single knocks
  std::uint64_t trials_looked_at = 0;  ///< of those recorded: evenly spread where they are many
};

}  // namespace plexor::analysis
