#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "base/event.hpp"
#include "journal/records.hpp"
#include "judge/judge.hpp"

namespace plexor::analysis {

/// One presentation of a trial on its way from the journal to the tallies.
struct Presentation {
  journal::TrialPlanned planned;
  journal::TrialDone done;  ///< made up where the journal has none: void, interrupted
  std::optional<judge::Settled> settled;
  bool is_cleared = false;  ///< no reference taps can take it back any more
  bool is_past = false;     ///< of an ended segment: no loss can take it back any more
  std::uint32_t segment = 0;
  base::Duration segment_begin{};        ///< on the run's own time
  std::vector<base::Event> quiet_heard;  ///< what was heard during a quiet stretch

  /// Where an instant of this presentation lies on the run's own time, which goes on from segment
  /// to segment and stands still between them.
  [[nodiscard]] base::Duration run_time(base::Instant at) const {
    return segment_begin + at.time_since_epoch();
  }
  [[nodiscard]] double run_time_s(base::Instant at) const { return base::to_s(run_time(at)); }
};

/// First and last contact of a presentation: as sensed, where each tap has its
/// sensed contact, otherwise as planned. The moment that latency counts from.
struct Contacts {
  base::Instant first;
  base::Instant last;
};
[[nodiscard]] Contacts planned_contacts(const journal::TrialPlanned& planned);
[[nodiscard]] Contacts contacts_of(const journal::TrialPlanned& planned,
                                   const journal::TrialDone& done, bool contact_sensed);

}  // namespace plexor::analysis
