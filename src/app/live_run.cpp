#include "app/live_run.hpp"

#include <fmt/format.h>

#include <chrono>
#include <utility>

#include "app/aside.hpp"
#include "app/live_session.hpp"
#include "app/surroundings.hpp"
#include "base/calendar.hpp"
#include "base/error.hpp"
#include "rig/listener.hpp"
#include "rig/prepare.hpp"
#include "rig/wall_clock.hpp"
#include "run/file_replacement.hpp"
#include "run/runner.hpp"

namespace plexor::app {

namespace {

journal::Segment segment_of(const run::LiveRig& rig) {
  const base::WallTime wall = rig::wall_time_now();
  const base::Duration since_start = lines::kernel_now() - rig.started();
  return {.boot_id = boot_now().boot_id,
          .monotonic_ns = rig.started().time_since_epoch().count(),
          .wall_ns = wall.unix_ns - since_start.count(),
          .utc_offset_s = wall.utc_offset_s};
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

LiveFacts facts_of(const Job& job, const run::LiveRig& rig) {
  LiveFacts facts{.scheduling = run::in_one_line(rig.scheduling())};
  for (std::uint32_t device = 0; device < job.rig.devices.size(); ++device) {
    facts.arrival_widths.push_back(rig.arrival_widths_of(device));
  }
  return facts;
}

/// Makes the devices ready by their commands; gives back what those said.
std::string prepare_devices(const Job& job) {
  const StopSignals stop;
  std::string said;
  for (const rig::Device& device : job.rig.devices) {
    if (!device.prepare) continue;
    say_aside("Preparing \"{}\": {}\n", device.name, device.prepare->command.front());
    const auto output = rig::prepare(device, [&stop] { return stop.requested(); });
    said += fmt::format("# {}\n{}\n", device.name, output.value_or(""));
  }
  return said;
}

/// Results of another release than the rig file names would be filed under the wrong one.
void check_versions(const Job& job, run::LiveRig& rig) {
  for (std::uint32_t index = 0; index < job.rig.devices.size(); ++index) {
    const rig::Device& device = job.rig.devices[index];
    if (!device.identity) continue;
    const auto answered = rig.version_of(index);
    const auto complaint =
        answered ? rig::version_complaint(device, *answered)
                 : fmt::format("device \"{}\" does not answer its version query", device.name);
    if (complaint) throw base::RigFault(*complaint + "; nothing was moved");
  }
}

void tell_age_of(const rig::Calibration& calibration) {
  const auto today = std::chrono::floor<std::chrono::days>(std::chrono::system_clock::now());
  const auto age = today - base::day_of(calibration.date).value();
  say_aside("The calibration of {} is {} day(s) old.\n", calibration.date, age.count());
}

run::RunFolder conduct(const Job& job, const RunOptions& options,
                       std::optional<InterruptedRun> interrupted, LiveSession& session,
                       const Onlookers& onlookers) {
  run::LiveRig& rig = session.rig();
  const journal::Segment segment = segment_of(rig);
  BegunRun begun =
      begin_or_go_on(job, options, std::move(interrupted), segment, facts_of(job, rig));
  Surroundings surroundings(begun, segment, rig, real_surroundings());
  run::Conductor conductor(job.scenario, job.rig, options.lifted, begun.journal.next_sequence(),
                           session.coil().past(), std::move(begun.so_far));
  if (!session.is_armed()) {
    conductor.observe(
        rig::LeaveEnded{"nobody has armed the rig since it was interrupted", false, rig.now()});
  }
  const RigState& state = session.state();
  onlookers.service.ready((session.is_armed() ? "armed: " : "only listens: ") + job.scenario.name);
  const journal::Ended ended = run::run_to_end(
      conductor, {rig, rig, rig, &rig}, begun.journal, run::Durability::synced,
      {.stop_requested = [&session] { return session.stop_requested(); },
       .on_progress = progress_shown(onlookers),
       .before_fire = [&session](const run::Fire& trial) { session.before_fire(trial); },
       .on_settled =
           [&onlookers](const judge::Settled& trial) { onlookers.publisher.outcome(trial); },
       .move_to =
           [&session, &job](std::uint32_t spot) {
             return session.move_to(job.scenario.spots.at(spot).name);
           },
       .on_wave = [&begun](const journal::WaveRecord& wave) { begun.keep(wave); },
       .leave_given = [&session] { return session.takes_up_leave(); },
       .on_leave_ended =
           [&state](const rig::LeaveEnded& left) {
             drop_ticket_at_trip(left, state);
             say_aside("\n{}: nothing is tapped any more; quiet is still listened to.\n",
                       left.reason);
           },
       .seen_beside =
           [&] {
             onlookers.service.goes_round();
             return surroundings.seen();
           },
       .must_end = [&surroundings] { return surroundings.must_end(); },
       .longest_wait = std::chrono::milliseconds{50}});
  begun.finish();
  drop_ticket_after_fault(ended, state);
  session.end_in_order();
  return begun.folder;
}

}  // namespace

std::optional<run::RunFolder> tap_live(const Job& job, const RunOptions& options,
                                       std::optional<InterruptedRun> interrupted,
                                       const Onlookers& onlookers) {
  if (job.scenario.spots.size() > 1) need_terminal();  // for the moves
  const std::string prepared = prepare_devices(job);
  LiveSession session(job.rig, job.rig_file, {.lifted = options.lifted});
  check_versions(job, session.rig());
  if (job.rig.calibration) tell_age_of(*job.rig.calibration);
  if (interrupted) session.use_up_ticket_of(interrupted->folder);
  const bool only_listens = interrupted && !options.arm && !session.may_be_armed_now();
  if (only_listens) {
    session.listen_only();
  } else if (!session.arm(options.arm)) {
    return std::nullopt;
  }
  run::RunFolder folder = conduct(job, options, std::move(interrupted), session, onlookers);
  if (!prepared.empty()) run::replace_file(folder.prepared_txt(), prepared);
  return folder;
}

}  // namespace plexor::app
