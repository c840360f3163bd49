#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "base/event.hpp"
#include "base/outcome.hpp"
#include "base/trial.hpp"

namespace plexor::judge {

/// A trial as the judge must know it.
struct Presented {
  base::TrialId id;
  base::TrialKind kind = base::TrialKind::rhythm;
  std::uint32_t rhythm = 0;
  std::string expects;          ///< empty: a distractor (or no rhythm at all)
  base::Instant first_contact;  ///< quiet: its begin
  base::Instant last_contact;   ///< equals first_contact in quiet
  base::Duration window{};      ///< after the last contact; quiet: its length

  [[nodiscard]] base::Instant closes() const { return last_contact + window; }
};

/// How one device answered one trial. In quiet an event within is a false
/// response and none a correct rejection; there the incidents are what counts.
struct Answer {
  base::Outcome outcome = base::Outcome::miss;
  /// Arrival of the answering event after the last contact: for every outcome
  /// that has an event (negative when early), except in quiet.
  std::optional<base::Duration> latency;
  std::string heard;             ///< the answering event's name; empty where there was none
  std::uint32_t duplicates = 0;  ///< further events before the window closed
  std::uint32_t gap_alarms =
      0;  ///< events outside the window, before the next trial, that are no late answer
  /// Quiet only: the first event of each incident. An event no later than the
  /// incident window after the one before it belongs to the same incident.
  std::vector<base::Instant> incidents;
  /// The same trial as the device's other listeners heard its answer, in their order.
  std::vector<Answer> beside;
};

/// A trial with nothing more to come.
struct Settled {
  Presented trial;
  std::optional<base::VoidReason> void_reason;
  std::vector<Answer> answers;  ///< one for each device, by its first listener
};

/// Turns the stream of what happened into outcomes. Used while running and
/// afterwards; it is told trials in the order of time and does no I/O.
/// For each trial: present, hear..., close. A trial settles when the next one
/// closes (or at finish), because a late answer may come until the next begins.
/// Reference taps settle without answers.
class Judge {
 public:
  /// `listeners`: of each device, how many. What comes by several is judged for each by itself:
  /// the same event by two of them is one event, with two latencies.
  Judge(std::vector<std::uint32_t> listeners, base::Duration incident_window);

  /// A trial is about to be presented. Throws std::logic_error if the one before
  /// is not closed (after a hole in a journal: finish first).
  void present(const Presented& trial);
  /// Something was heard; a little out of order is borne. Before the current trial's planned first
  /// contact it still belongs to the trial before (a late answer or a gap alarm); before the very
  /// first trial it belongs to none and is dropped. Throws std::out_of_range for a device or
  /// listener that does not exist.
  void hear(const base::Event& event);
  /// The current trial is over: its contacts as measured (as planned where not
  /// sensed), and whether it counts. Settles the trial before it, if any.
  /// Throws std::logic_error if no trial is presented.
  [[nodiscard]] std::optional<Settled> close(base::Instant first_contact,
                                             base::Instant last_contact,
                                             std::optional<base::VoidReason> void_reason);
  /// The last closed trial as it stands: hits are final, late answers and alarms may still come.
  /// Nothing before the first.
  [[nodiscard]] std::optional<Settled> closed() const;
  /// No more trials: settles the last closed one. A trial never closed is
  /// dropped. Afterwards the judge is as new.
  [[nodiscard]] std::optional<Settled> finish();

 private:
  struct Open {
    Presented trial;
    std::optional<base::VoidReason> void_reason;
    /// By device and listener, in order of arrival.
    std::vector<std::vector<std::vector<base::Event>>> heard;
  };
  [[nodiscard]] Answer answer_of(const Open& open, const std::vector<base::Event>& events) const;
  [[nodiscard]] Settled settle(const Open& open) const;

  std::vector<std::uint32_t> listeners_;
  base::Duration incident_window_;
  std::optional<Open> before_;   ///< closed, may still get late answers
  std::optional<Open> current_;  ///< presented, not closed
};

}  // namespace plexor::judge
