#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "analysis/history/run_figures.hpp"
#include "analysis/results.hpp"
#include "analysis/soak/local_clock.hpp"
#include "base/time.hpp"
#include "journal/records.hpp"

namespace plexor::analysis {

/// How well a run was watched: its segments and the holes between them, what the clocks said, how
/// long a device could not be heard. All on the run's own time, which stands still in holes.
class Watch {
 public:
  explicit Watch(std::size_t devices) : unheard_(devices) {}

  /// A segment begins; `before`: how the one before it ended, if it did so in order.
  void segment(const journal::Segment& segment, base::Duration begin,
               const std::optional<journal::Ended>& before);
  /// Instants begin anew, but the record that says so is lost.
  void segment_lost(base::Duration begin);
  void segment_over(base::Duration end);
  void clock_set(const journal::ClockSet& told, base::Duration run_time);
  void listener(const journal::ListenerState& told, base::Duration run_time);

  [[nodiscard]] const LocalClock& clock() const { return clock_; }
  [[nodiscard]] const std::vector<Hole>& holes() const { return holes_; }
  [[nodiscard]] double unheard_s(std::size_t device) const {
    return base::to_s(unheard_[device].sum);
  }

 private:
  struct Unheard {
    std::optional<base::Duration> since;
    base::Duration sum{};

    void ends(base::Duration at);
  };

  LocalClock clock_;
  std::optional<journal::Segment> segment_;  ///< the one under way; nothing: its record is lost
  std::vector<Hole> holes_;
  std::vector<Unheard> unheard_;  ///< by device: by its first listener
};

}  // namespace plexor::analysis
