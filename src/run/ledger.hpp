#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <vector>

#include "base/event.hpp"
#include "base/stretch.hpp"
#include "base/trial.hpp"
#include "journal/records.hpp"
#include "judge/judge.hpp"
#include "judge/sequential_limits.hpp"
#include "rig/rig_file.hpp"
#include "scenario/planner.hpp"
#include "scenario/scenario.hpp"

namespace plexor::run {

/// Of a run so far.
struct Count {
  std::uint64_t done = 0;  ///< trials presented that count
  std::uint64_t voids = 0;
  std::uint64_t hits = 0;      ///< over all devices
  std::uint64_t expected = 0;  ///< answers that should have been hits, over all devices
};

/// What has been presented and how it was answered, as far as what comes next depends on it. The
/// conductor tells it of what happens; a run that goes on after an interruption has it made again
/// from its journal (replay.hpp). A value: knows no rig and no clock.
class Ledger {
 public:
  /// Clear of the surface (`lifted`) everything is a distractor, and nothing ends early.
  Ledger(const scenario::Scenario& scenario, const std::vector<rig::Device>& devices, bool lifted);

  /// The next trial that may be given, or nothing when the plan is done. Without leave to tap:
  /// the next stretch of quiet.
  [[nodiscard]] std::optional<base::Trial> next();
  /// With leave given anew the trials that had no leave are due again, reference taps first.
  void set_may_tap(bool may_tap);

  /// A trial is about to be presented.
  void planned(const journal::TrialPlanned& planned);
  void heard(const base::Event& event) { judge_.hear(event); }

  struct Closed {
    /// The trial before, with nothing more to come; nothing if there is none.
    std::optional<judge::Settled> settled;
    /// Of the reference taps' transit since the first group, where it is out of tolerance: what
    /// was done since the last good group is to be taken back.
    std::optional<base::Duration> shift{};
  };
  /// The trial planned last is over.
  [[nodiscard]] Closed closed(const journal::TrialPlanned& planned, const journal::TrialDone& done);
  /// The trial that was over last as it stands; nothing before the first.
  [[nodiscard]] std::optional<judge::Settled> last_closed() const { return judge_.closed(); }
  /// The last shift that is not yet answered by taking back: after an interruption between the
  /// two, the run begins with that.
  [[nodiscard]] const std::optional<base::Duration>& unanswered_shift() const { return shift_; }
  /// What was done since the last good reference taps does not count. Says how many trials.
  std::uint32_t take_back_since_reference();
  /// A device can't be heard, noticed late: nobody knows what it reported since then.
  void take_back_unheard(base::Instant since);
  /// Alarms in it, and in the incident window after it, count for no limit that is tested while the
  /// run goes on; what they decided is open again. Not so what lies more than
  /// base::longest_unmarked back.
  void disturbed(const journal::Disturbance& told);
  /// The tapper stands at this spot of the scenario; its transit may be another there.
  void moved(std::uint32_t spot);
  /// Nothing that is heard from here on answers the last trial.
  [[nodiscard]] std::optional<judge::Settled> finish();
  /// The run was interrupted: the trial under way, if any, does not count. Instants begin anew.
  void end_segment();

  [[nodiscard]] std::uint32_t spot() const { return spot_; }
  /// Where the tapper must stand for the next trial that taps.
  [[nodiscard]] std::uint32_t next_spot() const { return history_.spot(); }
  [[nodiscard]] std::uint64_t remaining() const { return history_.remaining(); }
  [[nodiscard]] const Count& count() const { return count_; }

 private:
  [[nodiscard]] judge::Presented presented(const journal::TrialPlanned& planned) const;
  void settle(const std::optional<judge::Settled>& settled);
  void count_for_limits(const judge::Settled& settled);
  [[nodiscard]] std::vector<base::Stretch> undisturbed_of(const judge::Settled& quiet) const;
  void count_valid(const base::Trial& trial, base::Instant end);
  void tell_history(const base::Trial& trial);
  [[nodiscard]] std::optional<base::Duration> assess_reference(const journal::TrialDone& done);
  void take_back(const base::TrialId& id);
  void stop_blocks();

  const scenario::Scenario* scenario_;
  bool lifted_;
  scenario::History history_;
  judge::Judge judge_;
  std::optional<judge::SequentialLimits> sequential_;  ///< nothing where nothing ends early
  std::uint32_t spot_ = 0;                             ///< where the tapper stands
  bool may_tap_ = true;
  std::optional<base::TrialId> passed_over_;    ///< the last reference taps that had no leave
  std::optional<base::TrialId> open_;           ///< planned, not over
  std::vector<base::TrialId> since_reference_;  ///< valid trials since the last good reference taps
  struct Done {
    base::TrialId id;
    base::Instant end;
  };
  std::deque<Done> lately_;                  ///< valid trials that a loss not yet noticed may spoil
  std::deque<judge::Settled> lately_quiet_;  ///< counted ones that a mark yet to come may touch
  std::vector<base::Stretch> disturbed_;     ///< since the segment's begin; by their begin
  std::optional<base::Duration> opening_transit_;
  std::optional<base::Duration> shift_;
  Count count_;
};

}  // namespace plexor::run
