#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "base/trial.hpp"
#include "journal/records.hpp"
#include "judge/judge.hpp"
#include "rig/hearing.hpp"
#include "rig/ports.hpp"
#include "rig/rig_file.hpp"
#include "run/aim.hpp"
#include "run/capture.hpp"
#include "run/device_watch.hpp"
#include "run/ledger.hpp"
#include "safety/limits.hpp"
#include "scenario/scenario.hpp"

namespace plexor::run {

/// What the conductor wants done, in this order.
struct Append {
  journal::Record record;
};
struct Commit {};  ///< make everything appended so far durable, then call Conductor::durable
struct Fire {
  std::vector<base::Pulse> pulses;
  safety::CoilPast after;  ///< what the coil has behind it once they are given
};
struct MakeSafe {};
/// Nothing more can change how this trial was answered: for whoever watches.
struct Tell {
  judge::Settled settled;
};
/// The tapper is to be moved, by hand; given again now and then until Conductor::moved is called.
struct AskForMove {
  std::uint32_t spot = 0;  ///< index into the scenario's
};
/// A device's power is to be taken away, or given back.
struct SwitchPower {
  std::uint32_t device = 0;
  bool on = false;
};
/// What a channel showed of a trial: kept beside the journal.
struct Keep {
  journal::WaveRecord wave;
};
using Action = std::variant<Append, Commit, Fire, MakeSafe, AskForMove, Tell, Keep, SwitchPower>;

/// Where a run stands, for whoever watches.
struct Progress : Count {
  std::uint64_t remaining = 0;  ///< trials to come, repeats included
  std::string leave_ended{};    ///< why only listening goes on; empty while taps are given
  std::string unheard{};        ///< the devices that the run waits for; empty while it goes on
  std::string hung{};           ///< what is done about devices that hang; empty while none does
  std::string move_to{};        ///< the spot that the tapper is to be moved to; empty else
};

/// Decides everything that happens in a run, and does nothing itself: inputs go
/// in with their time, actions come out. Deterministic; knows no clock. The
/// driver (runner.hpp) must carry out each action before it gives the next input.
///
/// A trial goes: plan, check against the limits, append, commit; when durable,
/// fire; listen to its end; assess the stimulus (void or not); append; next. A coil
/// that is too warm for a trial makes it begin later. No trial begins while a device can't
/// be heard: the run waits, and gives up after half an hour; what was done since it could be heard
/// for sure is void. A device that hangs (DeviceWatch) is restarted between two trials where its
/// power can be switched. Once leave to tap has ended,
/// only what needs no tap goes on. A block ends early when its sequential limits are decided (not
/// so in a lifted run, which presents everything as a distractor). Where the scenario has several
/// spots it asks for each move, and waits with nothing energised until the tapper stands there.
class Conductor {
 public:
  /// `first_sequence` is the sequence number of the first record it appends;
  /// `past` what the coil has behind it at the start of the segment (nothing: it is cold);
  /// `so_far` what earlier segments of the run have done.
  Conductor(const scenario::Scenario& scenario, const rig::RigFile& rig, bool lifted,
            std::uint64_t first_sequence, const std::optional<safety::CoilPast>& past = {},
            std::optional<Ledger> so_far = {});

  /// Starts the plan. Call once, first.
  void begin(base::Instant now);
  /// Something was observed, in the order of time.
  void observe(const rig::Observation& observation);
  /// The time of wake_at() has come.
  void wake(base::Instant now);
  /// All records with a sequence number below this survive a power cut.
  void durable(std::uint64_t below, base::Instant now);
  /// Somebody at the rig gave leave to tap anew: what needed it is due again.
  void leave_given(base::Instant now);
  /// The tapper stands at the spot that AskForMove named.
  void moved(base::Instant now);
  /// Stop now: the actuator is made safe, a trial under way becomes void.
  void stop(journal::Ended::Reason reason, const std::string& detail, base::Instant now);

  /// The next thing to do, if any.
  [[nodiscard]] std::optional<Action> take_action();
  /// When to call wake() unless something is observed before.
  [[nodiscard]] base::Instant wake_at() const { return wake_at_; }
  /// How the run ended; nothing while it goes on.
  [[nodiscard]] const std::optional<journal::Ended>& ended() const { return ended_; }
  [[nodiscard]] Progress progress() const;

 private:
  /// A trial between its planning and its end.
  struct Current {
    journal::TrialPlanned planned;
    bool fired = false;
    std::vector<base::Pulse> actual;
    std::vector<base::Instant> contacts;
    std::optional<base::VoidReason> void_reason;
  };

  void append(journal::Record record);
  void plan_next(base::Instant now);
  void plan(const base::Trial& trial, base::Instant now);
  void wait_for_devices(base::Instant now);
  [[nodiscard]] bool devices_are_on(base::Instant now);
  void ask_for_move(base::Instant now);
  [[nodiscard]] std::optional<safety::Refusal> fit(journal::TrialPlanned& planned) const;
  void fire(base::Instant now);
  void close(base::Instant now);
  void end_of_leave(const rig::LeaveEnded& left);
  void tell(std::optional<judge::Settled> settled);
  void keep_waves(const Current& done, base::Instant last_contact);
  void learn_transit(const Current& done);
  void account_for_overrun(const Current& done);
  void answer_reference(std::optional<base::Duration> shift, base::Instant now);
  void end(journal::Ended::Reason reason, const std::string& detail, base::Instant now);
  [[nodiscard]] std::optional<base::VoidReason> assess_contacts(const Current& done) const;
  [[nodiscard]] std::optional<safety::Refusal> check(const base::Trial& trial,
                                                     const std::vector<base::Pulse>& pulses) const;
  [[nodiscard]] std::optional<std::string> fault_of(const Current& done);
  [[nodiscard]] bool contact_is_sensed() const;

  const scenario::Scenario& scenario_;
  const rig::RigFile& rig_;
  bool lifted_;
  std::uint64_t next_sequence_;

  Ledger ledger_;
  Aim aim_;
  safety::PulseCheck pulse_check_;
  rig::Hearing hearing_;
  DeviceWatch watch_;
  Capture capture_;
  std::deque<Action> actions_;
  std::optional<Current> current_;
  std::uint64_t fire_when_durable_ = 0;  ///< sequence number that must be durable before firing
  base::Instant earliest_start_;
  base::Instant wake_at_;
  std::optional<journal::Ended> ended_;
  std::optional<rig::LeaveEnded> leave_ended_;

  std::optional<std::uint32_t> asked_for_;    ///< the spot that the tapper is being moved to
  std::optional<base::Instant> waits_since_;  ///< for devices that can't be heard
  std::uint32_t misfires_in_row_ = 0;
  std::uint32_t shifts_in_row_ = 0;
};

}  // namespace plexor::run
