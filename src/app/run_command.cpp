#include <fmt/chrono.h>
#include <fmt/format.h>
#include <sys/utsname.h>

#include <cctype>
#include <chrono>
#include <memory>
#include <string>

#include "analysis/provable.hpp"
#include "app/commands.hpp"
#include "app/job.hpp"
#include "app/make_reports.hpp"
#include "app/progress_bar.hpp"
#include "app/stop_signals.hpp"
#include "app/truth_file.hpp"
#include "base/error.hpp"
#include "journal/writer.hpp"
#include "run/conductor.hpp"
#include "run/run_folder.hpp"
#include "run/runner.hpp"
#include "virtual/virtual_rig.hpp"

namespace plexor::app {

namespace {

struct Options {
  std::string scenario;
  std::string rig;
  std::string out;
  bool lifted = false;
  bool json = false;
};

std::tm utc_now() {
  return fmt::gmtime(std::chrono::system_clock::to_time_t(std::chrono::system_clock::now()));
}

/// "Release check, oak counter" -> "release-check-oak-counter".
std::string slug(const std::string& name) {
  std::string words;
  for (const char c : name) {
    if (std::isalnum(static_cast<unsigned char>(c)) != 0) {
      words += static_cast<char>(std::tolower(static_cast<unsigned char>(c)));
    } else if (!words.empty() && words.back() != '-') {
      words += '-';
    }
  }
  while (words.ends_with('-')) words.pop_back();
  return words.empty() ? "run" : words;
}

/// A folder of its own for this run, under where runs go unless told otherwise.
std::filesystem::path dated_folder(const std::string& scenario_name) {
  const std::string base =
      fmt::format("reports/runs/{:%Y-%m-%d_%H%M%S}_{}", utc_now(), slug(scenario_name));
  std::string name = base;
  for (int i = 2; std::filesystem::exists(name); ++i) name = fmt::format("{}_{}", base, i);
  return name;
}

journal::RigFacts facts_of(const rig::RigFile& rig) {
  journal::RigFacts facts;
  facts.name = rig.name;
  facts.simulated = rig.kind == rig::RigKind::simulated;
  facts.calibrated = rig.calibration.has_value();
  facts.contact_sensed = rig.contact != rig::ContactKind::none;
  if (rig.calibration) {
    facts.transit_sd = rig.calibration->transit_sd;
    facts.calibration_date = rig.calibration->date;
  }
  facts.surface = rig.setting.surface;
  facts.spot = rig.setting.spot;
  facts.mounting = rig.setting.mounting;
  for (const rig::Device& device : rig.devices) {
    facts.devices.push_back(
        {device.name, device.version, device.line_time, device.pattern_end_gap});
  }
  return facts;
}

journal::Header header_of(const Job& job, bool lifted) {
  journal::Header header;
  header.plexor_version = PLEXOR_VERSION;
  header.seed = job.scenario.seed;
  header.lifted = lifted;
  header.scenario_file = job.scenario_file;
  header.scenario_text = job.scenario_text;
  header.rig_file = job.rig_file;
  header.rig_text = job.rig_text;
  header.rig = facts_of(job.rig);
  return header;
}

journal::Host host_facts() {
  utsname system{};
  uname(&system);
  return {.started_utc = fmt::format("{:%Y-%m-%dT%H:%M:%SZ}", utc_now()),
          .host_name = system.nodename,
          .system = fmt::format("{} {} {}", system.sysname, system.release, system.machine)};
}

std::string note_of(const run::Progress& progress) {
  if (progress.expected == 0) return fmt::format("{} trials", progress.done);
  return fmt::format(
      "{} trials, {:.1f} % heard, {} void", progress.done,
      100.0 * static_cast<double>(progress.hits) / static_cast<double>(progress.expected),
      progress.voids);
}

/// A verdict that can't come out is told before anything is tapped for it.
void check_limits_can_be_reached(const Job& job) {
  for (const analysis::Provable& limit : analysis::what_can_be_proved(job.scenario)) {
    if (limit.can_pass) continue;
    throw base::InputError({job.scenario_file, 0, 0}, "a limit out of reach in [accept]",
                           "limits that this plan can show", limit.sentence);
  }
}

run::RunFolder tap_and_listen(const Job& job, const Options& options) {
  const StopSignals stop;
  run::RunFolder folder = run::create_run_folder(
      options.out.empty() ? dated_folder(job.scenario.name) : std::filesystem::path(options.out));
  journal::Writer journal(journal::create_journal_file(folder.journal()));
  journal.append(header_of(job, options.lifted));
  journal.append(host_facts());
  journal.append(journal::Segment{.boot_id = "virtual"});

  journal.flush();

  TruthFile truth(folder.truth_csv());
  virtual_rig::VirtualRig rig(job.rig, job.simulation, job.scenario.seed, options.lifted,
                              [&truth](const virtual_rig::Truth& one) { truth.append(one); });
  run::Conductor conductor(job.scenario, job.rig, options.lifted, journal.next_sequence());
  ProgressBar bar("tapping");
  const auto on_progress = [&bar](const run::Progress& progress) {
    const auto whole = static_cast<double>(progress.done + progress.remaining);
    bar.show(static_cast<double>(progress.done) / whole, note_of(progress));
  };
  run::run_to_end(conductor, {rig, rig, rig}, journal, run::Durability::written,
                  {[&stop] { return stop.requested(); }, on_progress});
  truth.finish();
  return folder;
}

}  // namespace

CommandBody add_run_command(CLI::App& parser) {
  const auto options = std::make_shared<Options>();
  parser.add_option("SCENARIO", options->scenario, "Scenario file: what to do")->required();
  parser.add_option("--rig", options->rig, "Rig file: what to do it with")->required();
  parser.add_option("--out", options->out,
                    "Folder for the run (else a dated one under reports/runs)");
  parser.add_flag("--lifted", options->lifted,
                  "The tapper stands clear of the surface: whatever is heard then is no knock");
  parser.add_flag("--json", options->json, "Print results.json instead of the summary");
  parser.footer("Example: plexor run scenarios/regression.toml --rig rig/simulated-oak.toml");
  return [options] {
    const Job job = load_job(options->scenario, options->rig);
    check_limits_can_be_reached(job);
    const run::RunFolder folder = tap_and_listen(job, *options);
    const analysis::Results results = make_reports(folder);
    print_results(folder, results, options->json);
    return exit_code_of(results);
  };
}

}  // namespace plexor::app
