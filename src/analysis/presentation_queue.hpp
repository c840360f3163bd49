#pragma once

#include <cstddef>
#include <deque>
#include <functional>
#include <vector>

#include "analysis/presentation.hpp"

namespace plexor::analysis {

/// Presentations that are done, in order, until nothing can change what they count for:
/// queued (the judge waits for late answers) -> settled -> released. Where the scenario has
/// reference taps, settled ones are held until the next good group of them; and all are held for as
/// long as what happened while they were done may become known later.
class PresentationQueue {
 public:
  using Release = std::function<void(Presentation&)>;

  /// Presentations are held for `held` after their end; `awaits_reference` where reference taps may
  /// take them back.
  PresentationQueue(base::Duration held, bool awaits_reference, Release release);

  /// An empty one, in memory that an earlier one used.
  [[nodiscard]] Presentation fresh();
  void add(Presentation&& presentation);
  /// Of the oldest that was not settled.
  void settle(judge::Settled settled, base::Instant now);
  /// Good reference taps: those settled so far stand.
  void clear_settled(base::Instant now);
  /// Reference taps that differ: those not cleared by good ones do not count.
  void void_uncleared();
  /// A listener was lost: what ended later in this segment does not count.
  void void_those_after(base::Instant lost);
  /// All are settled, and no loss can take them back any more.
  void segment_over(base::Instant now);

 private:
  [[nodiscard]] bool is_ripe(const Presentation& presentation, base::Instant now) const;
  void release_ripe(base::Instant now);

  base::Duration held_;
  bool awaits_reference_;
  Release release_;
  std::deque<Presentation> queue_;  ///< the settled ones first
  std::size_t settled_ = 0;
  std::vector<Presentation> spare_;  ///< used ones, kept for their memory
};

}  // namespace plexor::analysis
