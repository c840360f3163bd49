#include <fmt/format.h>

#include <filesystem>
#include <limits>
#include <memory>
#include <optional>
#include <string>
#include <system_error>
#include <utility>

#include "app/archive_option.hpp"
#include "app/aside.hpp"
#include "app/commands.hpp"
#include "app/keep_nights.hpp"
#include "app/make_reports.hpp"
#include "app/night_archive.hpp"
#include "app/rig_loading.hpp"
#include "app/run_job.hpp"
#include "app/service_notice.hpp"
#include "app/text_file.hpp"
#include "base/error.hpp"
#include "journal/outline.hpp"
#include "rig/wall_clock.hpp"
#include "run/run_lock.hpp"
#include "scenario/parse.hpp"

namespace plexor::app {

namespace {

namespace fs = std::filesystem;

struct NightOptions {
  RunOptions run;
  std::string archive = default_archive;
  run::Retention keep;
  bool only_resume = false;  ///< begins no new night
};

/// What people's clocks say now, for this run.
base::WallTime wall_time_of(const RunOptions& options) {
  const auto virtual_time = rig::date_and_time_of(options.clock);
  return virtual_time ? virtual_time->time : rig::wall_time_now();
}

/// A night that broke off without a word is gone on with until the next one is due; one that was
/// stopped, or ended with a fault, is for a person to look at first.
bool broke_off_tonight(const journal::Outline& outline, std::chrono::sys_days night) {
  if (outline.ended() != nullptr || !outline.segment) return false;
  const journal::Segment& began = *outline.segment;
  return began.wall_ns == 0 || base::WallTime{began.wall_ns, began.utc_offset_s}.night() == night;
}

/// Only with the same files: what it found with others would be filed under the wrong ones.
bool is_of_these_files(const journal::Header& header, const NightOptions& options) {
  const LoadedRig rig = load_rig(options.run.rig);
  return header.scenario_text == read_text_file(options.run.scenario) &&
         header.rig_text == rig.text && header.calibration_text == rig.calibration.text;
}

/// Nothing, and a word, for one that is damaged at its begin: that stops no other night.
std::optional<journal::Outline> readable_outline(const run::RunFolder& folder) try {
  return journal::outline_of(folder.journal());
} catch (const base::InputError& unreadable) {
  say_aside("WARNING: {}; it is not gone on with\n", unreadable.what());
  return std::nullopt;
}

/// A night may have been killed after its last tap and before its reports.
void make_missing_reports(const fs::path& runs) {
  std::error_code none;
  for (const run::RunFolder& folder : run::run_folders_in(runs)) {
    if (run::is_live(folder.root) || fs::exists(folder.results_json(), none)) continue;
    const auto outline = readable_outline(folder);
    const auto* ended = outline ? outline->ended() : nullptr;
    if (ended == nullptr || ended->reason == journal::Ended::Reason::interrupted) continue;
    say_aside("{} has ended and has no results; they are made now.\n", folder.root.string());
    try {
      (void)make_reports(folder);
    } catch (const base::InputError& unreadable) {
      say_aside("WARNING: {}\n", unreadable.what());
    }
  }
}

/// The newest run that is to be gone on with, if any.
std::optional<fs::path> interrupted_night(const NightOptions& options) {
  const std::chrono::sys_days night = wall_time_of(options.run).night();
  std::optional<fs::path> newest;
  for (const run::RunFolder& folder : run::run_folders_in(options.run.runs)) {
    if (run::is_live(folder.root)) continue;
    const auto outline = readable_outline(folder);
    if (!outline || !broke_off_tonight(*outline, night)) continue;
    if (is_of_these_files(outline->header, options)) {
      newest = folder.root;
    } else {
      say_aside("{} broke off with another scenario or rig file; it is not gone on with.\n",
                folder.root.string());
    }
  }
  return newest;
}

/// Each night has draws of its own, the same whenever it is run again: the scenario's seed and the
/// number of the day.
std::uint64_t seed_of_night(const RunOptions& options) {
  const auto scenario =
      scenario::parse_scenario(read_text_file(options.scenario), options.scenario);
  const auto day = wall_time_of(options).night().time_since_epoch().count();
  const std::uint64_t largest = std::numeric_limits<std::int64_t>::max();
  return (scenario.seed + static_cast<std::uint64_t>(day)) & largest;
}

/// What `run` is to be asked for; nothing where there is nothing to go on with, and that was all.
std::optional<RunOptions> tonight(const NightOptions& options) {
  RunOptions run = options.run;
  if (const auto interrupted = interrupted_night(options)) {
    say_aside("Going on with {}, which broke off.\n", interrupted->string());
    run.resume = interrupted->string();
    return run;
  }
  if (options.only_resume) return std::nullopt;
  run.seed = seed_of_night(run);
  return run;
}

ExitCode spend_night(const NightOptions& options) {
  make_missing_reports(options.run.runs);
  const auto run = tonight(options);
  if (!run) {
    ServiceNotice{}.ready("no night broke off");  // a service that ends without is taken for failed
    say_aside("No night broke off: there is nothing to go on with.\n");
    return ExitCode::pass;
  }
  const auto finished = tap_and_report(*run);
  if (!finished) return ExitCode::undecided;
  print_results(finished->folder, finished->results, options.run.json);
  NightArchive archive(options.archive);
  archive.take_all_in(options.run.runs);
  for (const std::string& line :
       keep_nights(options.run.runs, options.keep, false,
                   [](const run::RunFolder& folder) { return NightArchive::has(folder); })) {
    say_aside("{}\n", line);
  }
  say_aside("{}\n", archive.headline_of(finished->results));
  return app::exit_code_of(finished->results);
}

}  // namespace

CommandBody add_night_command(CLI::App& parser) {
  const auto options = std::make_shared<NightOptions>();
  parser.add_option("SCENARIO", options->run.scenario, "Scenario file: what to do")->required();
  parser.add_option("--rig", options->run.rig, "Rig file: what to do it with")->required();
  parser.add_option("--runs", options->run.runs, "Folder in which each night gets one of its own")
      ->capture_default_str();
  add_archive_option(parser, options->archive);
  add_retention_options(parser, options->keep);
  add_clock_option(parser, options->run.clock);
  parser.add_flag("--only-resume", options->only_resume,
                  "Go on with a night that broke off, or do nothing");
  parser.add_flag("--json", options->run.json, "Print results.json instead of the summary");
  parser.footer(
      "Goes on with a night that broke off (power cut, crash), or begins a new one; makes its\n"
      "reports, posts its summary, puts it into the archive, removes journals that are old\n"
      "enough, and says what has changed since the nights before. For plexor-night.timer:\n"
      "see rig/night.md. Whoever is to be tapped unattended gives leave before (plexor arm).\n\n"
      "Example: plexor night scenarios/soak.toml --rig rig/simulated-oak.toml");
  return [options] { return spend_night(*options); };
}

}  // namespace plexor::app
