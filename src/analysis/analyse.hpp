#pragma once

#include <functional>
#include <memory>

#include "analysis/results.hpp"
#include "journal/records.hpp"
#include "judge/judge.hpp"
#include "scenario/scenario.hpp"

namespace plexor::analysis {

/// One line of trials.csv: one device's answer to one presentation.
struct TrialRow {
  const journal::TrialPlanned* planned = nullptr;
  const journal::TrialDone* done = nullptr;
  const judge::Settled* settled = nullptr;
  std::uint32_t segment = 0;
};

/// A fold over a journal: feed every entry in order, then ask once for the
/// results. Memory grows only by a few bytes a trial (latencies) and some hundred an hour, so a
/// journal of a million trials fits in under 300 MiB. `row` is called once for each
/// settled presentation, in order, void ones included, with its final void
/// reason (trials between reference groups wait for the next group); where the
/// journal has no end of a trial, `done` is made up: void, interrupted. In a
/// lifted run every rhythm is judged as a distractor.
class Analysis {
 public:
  explicit Analysis(std::function<void(const TrialRow&)> row = {});
  ~Analysis();
  Analysis(const Analysis&) = delete;
  Analysis& operator=(const Analysis&) = delete;

  /// Throws base::InputError if the journal's scenario text can't be read, if a
  /// record contradicts the header, or if the header is not the first record.
  void take(const journal::Entry& entry);

  /// `reading` is what read_journal returned; `is_live`: the run still goes on, so that everything
  /// is so far; not where the journal tells of its end. Call once, last.
  [[nodiscard]] Results finish(const journal::ReadSummary& reading, bool is_live = false);

 private:
  class Fold;
  std::unique_ptr<Fold> fold_;
};

}  // namespace plexor::analysis
