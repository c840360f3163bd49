#include "app/live_run.hpp"

#include <fmt/format.h>

#include <atomic>
#include <chrono>
#include <filesystem>

#include "app/arming.hpp"
#include "app/rig_state.hpp"
#include "app/run_progress.hpp"
#include "app/slow_sensors.hpp"
#include "app/stop_signals.hpp"
#include "app/warden_process.hpp"
#include "run/live_rig.hpp"
#include "run/runner.hpp"
#include "safety/coil_memory.hpp"

namespace plexor::app {

namespace {

journal::Segment segment_of(const run::LiveRig& rig) {
  const auto since_start = lines::kernel_now() - rig.started();
  const auto wall = std::chrono::system_clock::now().time_since_epoch() - since_start;
  return {.boot_id = boot_now().boot_id,
          .monotonic_ns = rig.started().time_since_epoch().count(),
          .wall_ns = std::chrono::duration_cast<std::chrono::nanoseconds>(wall).count()};
}

/// Keeps what the coil has behind it, before each trial and at the end [S67].
class CoilKeeper {
 public:
  CoilKeeper(const Job& job, const RigState& state)
      : state_(state),
        rated_(job.rig.rated_taps),
        now_(recall(state.coil_text(), boot_now(), job.rig.limits, job.rig.coil)) {
    memory_ = {now_.past, boot_now(), false, now_.taps};
    body_c_ = now_.past.state.body_c;
    tell();
  }

  [[nodiscard]] const safety::CoilPast& past() const { return now_.past; }
  /// At the end of the last trial that was queued; it only cools after that. From any thread.
  [[nodiscard]] double modelled_body_c() const { return body_c_; }

  /// Pulses are about to be given; `last_off` is how far ahead the last one ends.
  void before(const run::Fire& trial, base::Duration last_off) {
    memory_.past = trial.after;
    body_c_ = trial.after.state.body_c;
    memory_.at = boot_now();
    memory_.at.since_boot += last_off;
    memory_.taps += trial.pulses.size();
    state_.keep_coil(memory_);
  }

  /// Everything that was given is known; without this the coil counts as hot.
  void end_in_order() {
    memory_.ended_in_order = true;
    state_.keep_coil(memory_);
  }

 private:
  void tell() const {
    if (!now_.taken_as_hot.empty()) {
      fmt::print(stderr,
                 "The coil is taken as hot ({:.0f} degC), because {}: the first taps may have to "
                 "wait some minutes.\n",
                 now_.past.state.winding_c, now_.taken_as_hot);
    }
    if (rated_ != 0 && now_.taps >= rated_) {
      fmt::print(stderr,
                 "WARNING: this tapper has given {} taps; its maker rates it for {}. Replace it, "
                 "and calibrate.\n",
                 now_.taps, rated_);
    }
  }

  const RigState& state_;
  std::uint64_t rated_;
  safety::CoilNow now_;
  safety::CoilMemory memory_;
  std::atomic<double> body_c_ = 0.0;
};

/// The ticket is used up by a trip: from then on only a person at the rig gives leave. At once,
/// because the run may listen on for hours, and be stopped or killed meanwhile.
void drop_ticket_at_trip(const rig::LeaveEnded& left, const RigState& state) {
  if (left.tripped) state.drop_ticket();
}

/// By a fault too that the rig did not trip at.
void drop_ticket_after_fault(const journal::Ended& ended, const RigState& state) {
  if (ended.reason == journal::Ended::Reason::fault) state.drop_ticket();
}

/// What makes pulses late costs trials, and can be mended.
void warn_of(const std::vector<rig::Finding>& scheduling) {
  for (const rig::Finding& finding : scheduling) {
    if (finding.state == rig::Finding::State::good) continue;
    fmt::print(stderr, "WARNING: {}: {}{}{}\n", finding.subject, finding.found,
               finding.remedy.empty() ? "" : "; ", finding.remedy);
  }
}

run::RunFolder conduct(const Job& job, const RunOptions& options, run::LiveRig& rig,
                       CoilKeeper& coil, const RigState& state, const StopSignals& stop) {
  BegunRun begun = begin_run(job, options, segment_of(rig));
  run::Conductor conductor(job.scenario, job.rig, options.lifted, begun.journal.next_sequence(),
                           coil.past());
  const auto before_fire = [&](const run::Fire& trial) {
    coil.before(trial, trial.pulses.back().off() - rig.now());
  };
  try {
    const journal::Ended ended = run::run_to_end(
        conductor, {rig, rig, rig}, begun.journal, run::Durability::synced,
        {.stop_requested = [&stop] { return stop.requested(); },
         .on_progress = progress_shown(),
         .before_fire = before_fire,
         .on_leave_ended =
             [&state](const rig::LeaveEnded& left) { drop_ticket_at_trip(left, state); },
         .longest_wait = std::chrono::milliseconds{50}});
    drop_ticket_after_fault(ended, state);
  } catch (...) {
    state.drop_ticket();
    throw;
  }
  rig.stand_down();
  if (rig.coil_is_accounted_for()) coil.end_in_order();
  return begun.folder;
}

}  // namespace

std::optional<run::RunFolder> tap_live(const Job& job, const RunOptions& options) {
  const StopSignals stop;
  const RigState state(job.rig);
  const WardenProcess warden(job.rig_file);
  run::LiveRig rig(job.rig, options.lifted, warden.board());
  warn_of(rig.scheduling());
  CoilKeeper coil(job, state);
  const SlowSensors sensors(job.rig, rig, [&coil] { return coil.modelled_body_c(); });
  rig.wait_until_ready();
  const auto leave = ask_for_leave(job.rig.name, state, options.arm, stop);
  if (!leave) {
    fmt::print(stderr, "Not armed; nothing was moved.\n");
    return std::nullopt;
  }
  rig.arm(leave->ends);
  return conduct(job, options, rig, coil, state, stop);
}

}  // namespace plexor::app
