#pragma once

#include <optional>
#include <string>

#include "app/arming.hpp"
#include "app/coil_keeper.hpp"
#include "app/rig_state.hpp"
#include "app/slow_sensors.hpp"
#include "app/stop_signals.hpp"
#include "app/warden_process.hpp"
#include "run/live_rig.hpp"
#include "run/run_folder.hpp"

namespace plexor::app {

/// A rig of kind lines, taken, beside its warden. Whatever taps in real time goes
/// through here: run, tap, calibrate. The gate is inactive until arm, and after
/// the session, however it ends.
class LiveSession {
 public:
  /// Takes the lines and opens the ports. Throws base::RigFault with nothing energised.
  LiveSession(const rig::RigFile& rig, const std::string& rig_file, const run::Use& use);
  /// An armed session that did not end in order has used up the arm ticket [S66].
  ~LiveSession();
  LiveSession(const LiveSession&) = delete;
  LiveSession& operator=(const LiveSession&) = delete;

  /// Waits until everything holds, asks for leave to tap, and arms. False if nobody gave
  /// leave; `countdown` as in ask_for_leave. Throws base::RigFault with nothing energised.
  [[nodiscard]] bool arm(bool countdown);

  /// The ticket by which this run tapped before it broke off has been used up by that, as a trip
  /// uses one up [S66]; one that was given since then has not.
  void use_up_ticket_of(const run::RunFolder& interrupted) const;
  /// An arm ticket gives leave, or somebody is at the terminal to be asked.
  [[nodiscard]] bool may_be_armed_now() const;
  [[nodiscard]] bool is_armed() const { return owes_an_end_; }
  /// Hears the devices and moves nothing, until takes_up_leave arms [S77].
  void listen_only();
  /// After listen_only, asked again and again: arms as soon as a ticket gives leave, and says so
  /// once. Where that fails the session goes on listening, until there is another ticket.
  [[nodiscard]] bool takes_up_leave();

  /// Has the tapper moved by hand to this spot [S76]. Called first it takes leave and power away
  /// and asks; then again and again: true once a person has said with the Enter key that it stands
  /// there and leave was given anew. Throws base::RigFault, with nothing energised, if something
  /// does not hold then.
  [[nodiscard]] bool move_to(const std::string& spot);

  /// The arm ticket that gave leave is still there; with other leave, always.
  [[nodiscard]] bool leave_stands() const;

  /// Ends tapping, sees the gate inactive, and keeps the coil's past where it is known for sure.
  void end_in_order();

  [[nodiscard]] run::LiveRig& rig() { return rig_; }
  [[nodiscard]] CoilKeeper& coil() { return coil_; }
  [[nodiscard]] const RigState& state() const { return state_; }
  [[nodiscard]] bool stop_requested() const { return stop_.requested(); }

  /// For RunHooks::before_fire: keeps the coil's past, and takes leave back with its ticket [S75].
  void before_fire(const run::Fire& trial);

 private:
  StopSignals stop_;
  std::string name_;
  RigState state_;
  WardenProcess warden_;
  run::LiveRig rig_;
  CoilKeeper coil_;
  SlowSensors sensors_;
  std::string ticket_;  ///< the one that gave leave
  std::optional<lines::KernelInstant> leave_ends_;
  bool only_listens_ = false;
  std::string refused_ticket_;  ///< the last one with which arming failed
  lines::KernelInstant looked_for_ticket_at_{};
  bool is_moving_ = false;    ///< the tapper, by hand
  bool owes_an_end_ = false;  ///< armed, and not ended in order
};

}  // namespace plexor::app
