#include "app/live_run.hpp"

#include <chrono>

#include "app/live_session.hpp"
#include "app/run_progress.hpp"
#include "run/runner.hpp"

namespace plexor::app {

namespace {

journal::Segment segment_of(const run::LiveRig& rig) {
  const auto since_start = lines::kernel_now() - rig.started();
  const auto wall = std::chrono::system_clock::now().time_since_epoch() - since_start;
  return {.boot_id = boot_now().boot_id,
          .monotonic_ns = rig.started().time_since_epoch().count(),
          .wall_ns = std::chrono::duration_cast<std::chrono::nanoseconds>(wall).count()};
}

/// The ticket is used up by a trip: from then on only a person at the rig gives leave. At once,
/// because the run may listen on for hours, and be stopped or killed meanwhile.
void drop_ticket_at_trip(const rig::LeaveEnded& left, const RigState& state) {
  if (left.tripped) state.drop_ticket();
}

/// By a fault too that the rig did not trip at.
void drop_ticket_after_fault(const journal::Ended& ended, const RigState& state) {
  if (ended.reason == journal::Ended::Reason::fault) state.drop_ticket();
}

run::RunFolder conduct(const Job& job, const RunOptions& options, LiveSession& session) {
  run::LiveRig& rig = session.rig();
  BegunRun begun = begin_run(job, options, segment_of(rig), in_one_line(rig.scheduling()));
  run::Conductor conductor(job.scenario, job.rig, options.lifted, begun.journal.next_sequence(),
                           session.coil().past());
  const RigState& state = session.state();
  try {
    const journal::Ended ended = run::run_to_end(
        conductor, {rig, rig, rig}, begun.journal, run::Durability::synced,
        {.stop_requested = [&session] { return session.stop_requested(); },
         .on_progress = progress_shown(),
         .before_fire = [&session](const run::Fire& trial) { session.before_fire(trial); },
         .on_leave_ended =
             [&state](const rig::LeaveEnded& left) { drop_ticket_at_trip(left, state); },
         .longest_wait = std::chrono::milliseconds{50}});
    drop_ticket_after_fault(ended, state);
  } catch (...) {
    state.drop_ticket();
    throw;
  }
  session.end_in_order();
  return begun.folder;
}

}  // namespace

std::optional<run::RunFolder> tap_live(const Job& job, const RunOptions& options) {
  LiveSession session(job.rig, job.rig_file, {.lifted = options.lifted});
  if (!session.arm(options.arm)) return std::nullopt;
  return conduct(job, options, session);
}

}  // namespace plexor::app
