#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "analysis/presentation.hpp"
#include "analysis/results.hpp"
#include "base/stretch.hpp"
#include "journal/records.hpp"

namespace plexor::analysis {

/// A valid quiet presentation without what was disturbed in it.
struct UndisturbedQuiet {
  std::vector<base::Stretch> stretches;                ///< in order
  std::vector<std::vector<base::Duration>> disturbed;  ///< by device: incidents counted apart
};

/// Marked disturbances: what a device reports from a mark's begin until the incident window after
/// its end was heard in it. A mark may come after what it explains, by at most longest_unmarked;
/// presentations are parted only when none can come any more, so the order of records within that
/// does not matter. What a mark says of times further back is not believed, and counted as cut
/// short.
class Marks {
 public:
  explicit Marks(base::Duration incident_window) : tail_(incident_window) {}

  /// `mark`: what is believed of it, on the run's own time.
  void add(const journal::Disturbance& told, base::Stretch mark);
  /// The segment has ended: no mark's tail reaches into the next.
  void segment_over(base::Duration end);

  /// Nothing will be parted any more that ended before this.
  void forget_before(base::Duration run_time);

  /// Takes the disturbed incidents out of the answers. In order of time.
  [[nodiscard]] UndisturbedQuiet part(Presentation& quiet);

  [[nodiscard]] Disturbances take() && { return std::move(found_); }

 private:
  struct Mark {
    base::Stretch with_tail;
    std::uint32_t name = 0;
  };
  [[nodiscard]] std::uint32_t name_of(const journal::Disturbance& told);
  [[nodiscard]] const Mark* covering(base::Duration at) const;
  void part(judge::Answer& answer, const Presentation& quiet,
            std::vector<base::Duration>* disturbed);

  base::Duration tail_;
  std::vector<Mark> marks_;  ///< by their begin; those that can still matter
  Disturbances found_;
};

}  // namespace plexor::analysis
