#include "app/run_job.hpp"

#include <utility>

#include "analysis/provable.hpp"
#include "app/aside.hpp"
#include "app/disk_check.hpp"
#include "app/live_run.hpp"
#include "app/make_reports.hpp"
#include "app/power_cut.hpp"
#include "app/run_progress.hpp"
#include "app/stop_signals.hpp"
#include "app/summary_post.hpp"
#include "app/surroundings.hpp"
#include "app/truth_file.hpp"
#include "base/error.hpp"
#include "run/runner.hpp"
#include "virtual/ageing.hpp"
#include "virtual/segment_seed.hpp"
#include "virtual/virtual_rig.hpp"

namespace plexor::app {

namespace {

/// A verdict that can't come out, or hardly, is told before anything is tapped for it.
void check_limits_can_be_reached(const Job& job) {
  constexpr double hardly = 0.5;
  for (const analysis::Provable& limit : analysis::what_can_be_proved(job.scenario)) {
    if (limit.can_pass && limit.power < hardly) {
      say_aside("WARNING: {}; {}\n", limit.sentence, limit.power_sentence);
    }
    if (limit.can_pass) continue;
    throw base::InputError({job.scenario_file, 0, 0}, "a limit out of reach in [accept]",
                           "limits that this plan can show", limit.sentence);
  }
}

/// What the rig is made of on the day of the run.
virtual_rig::Simulation simulation_on_its_day(const Job& job, const journal::Segment& segment) {
  virtual_rig::Simulation simulation = job.simulation;
  if (!virtual_rig::ages(simulation)) return simulation;
  if (segment.wall_ns == 0) {
    say_aside("WARNING: {}: a device ages, but the run has no date (--clock); it is taken as new\n",
              job.rig_file);
  } else {
    virtual_rig::age(simulation, segment.wall_ns);
  }
  return simulation;
}

run::RunFolder tap_in_virtual_time(const Job& job, const RunOptions& options,
                                   std::optional<InterruptedRun> interrupted,
                                   const Onlookers& onlookers) {
  const StopSignals stop;
  const VirtualClock clock = virtual_clock(options.clock);
  BegunRun begun = begin_or_go_on(job, options, std::move(interrupted), clock.segment);
  TruthFile truth(begun.folder.truth_csv(begun.segment));
  virtual_rig::VirtualRig rig(job.rig, simulation_on_its_day(job, clock.segment),
                              virtual_rig::segment_seed(job.scenario.seed, begun.segment),
                              options.lifted,
                              [&truth](const virtual_rig::Truth& one) { truth.append(one); });
  if (!job.scenario.spots.empty()) rig.move_tapper(begun.so_far ? begun.so_far->spot() : 0);
  run::Conductor conductor(job.scenario, job.rig, options.lifted, begun.journal.next_sequence(), {},
                           std::move(begun.so_far));
  const bool power_fails = job.simulation.power_cut && begun.segment == 0;
  SensesUntilPowerCut mortal(rig, rig, job.simulation.power_cut.value_or(base::Instant::max()));
  rig::Senses& senses = power_fails ? static_cast<rig::Senses&>(mortal) : rig;
  Surroundings surroundings(begun, clock.segment, rig, clock.surroundings);
  onlookers.service.ready("in virtual time: " + job.scenario.name);
  run::run_to_end(
      conductor, {rig, senses, rig, &rig}, begun.journal,
      power_fails ? run::Durability::synced : run::Durability::written,
      {.stop_requested = [&stop] { return stop.requested(); },
       .on_progress = progress_shown(onlookers),
       .on_settled =
           [&onlookers](const judge::Settled& trial) { onlookers.publisher.outcome(trial); },
       .move_to =
           [&rig](std::uint32_t spot) {
             rig.move_tapper(spot);
             return true;
           },
       .on_wave = [&begun](const journal::WaveRecord& wave) { begun.keep(wave); },
       .seen_beside =
           [&] {
             onlookers.service.goes_round();
             return surroundings.seen();
           },
       .must_end = [&surroundings] { return surroundings.must_end(); }});
  begun.finish();
  truth.finish();
  return begun.folder;
}

/// Nothing if nobody gave leave to tap.
std::optional<run::RunFolder> tap_and_listen(const Job& job, const RunOptions& options,
                                             std::optional<InterruptedRun> interrupted,
                                             const Onlookers& onlookers) {
  if (job.rig.kind == rig::RigKind::simulated) {
    try {
      return tap_in_virtual_time(job, options, std::move(interrupted), onlookers);
    } catch (const PowerCut&) {
      die_of_power_cut(job.simulation.power_cut.value());
    }
  }
  if (options.clock.empty()) return tap_live(job, options, std::move(interrupted), onlookers);
  throw base::InputError({"--clock", 0, 0}, "a rig in real time", "a rig in virtual time",
                         "leave it out: the computer's own clock is taken");
}

}  // namespace

std::optional<FinishedRun> tap_and_report(RunOptions options) {
  std::optional<InterruptedRun> interrupted;
  if (!options.resume.empty()) {
    interrupted.emplace(take_up_run(options.resume));
    options.lifted = interrupted->header.lifted;
  }
  const Job job = interrupted ? load_job_again(interrupted->header, options.rig)
                              : load_job(options.scenario, options.rig, options.seed);
  check_limits_can_be_reached(job);
  const std::string& under = options.out.empty() ? options.runs : options.out;
  check_disk_room(job, interrupted ? interrupted->folder.root.string() : under);
  check_post_settings(job.rig);
  RunPublisher publisher(job);
  ServiceNotice service;
  const auto folder = tap_and_listen(job, options, std::move(interrupted), {publisher, service});
  if (!folder) return std::nullopt;
  service.stopping("making the reports");
  analysis::Results results = make_reports(*folder);
  const auto summary = summary_of(folder->root.string(), results, publisher.dropped());
  publisher.end(summary);
  post_summary(job.rig, *folder, summary);
  return FinishedRun{*folder, std::move(results)};
}

}  // namespace plexor::app
