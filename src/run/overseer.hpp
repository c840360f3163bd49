#pragma once

#include <atomic>
#include <functional>
#include <mutex>
#include <optional>
#include <string>

#include "lines/lines.hpp"
#include "rig/ports.hpp"
#include "run/inheriting_mutex.hpp"
#include "run/live_clock.hpp"
#include "safety/board.hpp"
#include "safety/interlock.hpp"
#include "safety/permit.hpp"

namespace plexor::run {

/// Brings everything that is seen to the interlock, and the interlock's answer
/// to the permit that each rising edge needs. Decides nothing itself. May be
/// called from any thread. The numbers in brackets are those of rig/safety.md.
class Overseer {
 public:
  struct Setting {
    safety::InterlockSetting interlock;
    base::Duration warden_age{};  ///< what the warden published longer ago counts as unknown
    /// The conductor must check in within this while armed; a sync of the journal fits in.
    base::Duration conductor_age = std::chrono::seconds{5};
  };
  using Teller = std::function<void(const rig::LeaveEnded&)>;

  /// `tell` hears, once for each arming, that leave to tap has ended. It is
  /// called from whichever thread noticed, and must not call back.
  Overseer(const Setting& setting, safety::Board board, const LiveClock& clock, Teller tell);

  // The pulse thread's side. Its ticks are the heartbeat: they show that the very
  // thread that must end a pulse lives.

  /// Every few milliseconds, also within a pulse.
  void tick(lines::KernelInstant now);
  /// Asks whether the pulse may begin, for one planned under `epoch`; false: it must not. [S60]
  [[nodiscard]] bool pulse_begins(lines::KernelInstant at, std::uint64_t epoch);
  void pulse_ends(lines::KernelInstant at);
  /// Whether it would be answered yes just now. Changes nothing.
  [[nodiscard]] bool permits(std::uint64_t epoch) const;
  [[nodiscard]] const safety::Permit& permit() const { return permit_; }
  /// The gate does not do what it is told: power off, and nothing more in this run. [S64]
  void fail(const std::string& reason);

  // What is sensed.

  void see_contact(bool touching, lines::KernelInstant at);
  void see(safety::Guard guard, safety::Reading reading);
  void see_listeners(bool heard);

  // The conductor's side.

  void conductor_lives(lines::KernelInstant now);
  /// Asks the warden for power, or gives it back.
  void want_power(bool wanted);
  /// Lets the heartbeat rest, so that the warden can show what it is for.
  void hold_heartbeat(bool held) { heartbeat_held_ = held; }
  /// What tripped the warden so far is known and done with.
  void acknowledge_warden();
  /// Leave to tap, until `leave_ends` if there is an end. False where it may not be.
  [[nodiscard]] bool arm(std::optional<lines::KernelInstant> leave_ends);
  /// The epoch under which the trial's pulses may be given; nothing where none may be.
  [[nodiscard]] std::optional<std::uint64_t> begin_trial();
  void end_trial();
  /// Leave is taken back, and whoever waits for pulses is told why. [S75]
  void take_leave_back(const std::string& reason);
  /// Takes leave and power. Possible always. [S7]
  void disarm();

  [[nodiscard]] safety::InterlockState state() const;
  [[nodiscard]] safety::Board::WardenState warden() const { return board_.warden(); }
  /// "stop loop, lid": what does not hold now, for people; empty if everything does.
  [[nodiscard]] std::string what_stands() const;

 private:
  void see_warden(lines::KernelInstant now);
  void see_clock(lines::KernelInstant now);
  void see_plunger(lines::KernelInstant now);
  void see_conductor(lines::KernelInstant now);
  void assess_tap();
  void watch_leave(lines::KernelInstant now);
  void settle(lines::KernelInstant now);
  void end_leave(const std::string& reason, bool tripped, lines::KernelInstant now);
  [[nodiscard]] bool explained(lines::KernelInstant at) const;

  struct GivenPulse {
    lines::KernelInstant on;
    std::optional<lines::KernelInstant> off;
    bool landed = false;
  };

  Setting setting_;
  safety::Board board_;
  const LiveClock& clock_;
  Teller tell_;
  safety::Permit permit_;
  std::atomic<bool> heartbeat_held_ = false;

  mutable InheritingMutex mutex_;  // of all that follows; the pulse thread takes it before an edge
  safety::Interlock interlock_;
  bool armed_ = false;  ///< and not yet told that leave has ended
  bool failed_ = false;
  bool touching_ = false;
  std::optional<GivenPulse> pulse_;  ///< the last one, until it is assessed
  std::optional<lines::KernelInstant> leave_ends_;
  std::optional<lines::KernelInstant> last_tick_;
  lines::KernelInstant conductor_seen_;
  base::Duration suspended_;
};

}  // namespace plexor::run
