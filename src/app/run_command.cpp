#include <cstdint>
#include <limits>
#include <memory>
#include <string>

#include "app/arming.hpp"
#include "app/commands.hpp"
#include "app/make_reports.hpp"
#include "app/run_job.hpp"
#include "base/error.hpp"

namespace plexor::app {

namespace {

/// What a new run needs, and what one that goes on has already.
void check_options(const RunOptions& options) {
  const bool is_new = options.resume.empty();
  if (is_new && (options.scenario.empty() || options.rig.empty())) {
    throw base::InputError("run: SCENARIO and --rig are missing; expected both, or --resume RUN");
  }
  const bool has_more =
      !options.scenario.empty() || !options.out.empty() || options.lifted || options.seed;
  if (!is_new && has_more) {
    throw base::InputError(
        "run: --resume with SCENARIO, --out, --seed or --lifted; a run goes on with the scenario, "
        "in the folder and in the way that it began: leave them out");
  }
}

}  // namespace

void add_clock_option(CLI::App& parser, std::string& clock) {
  parser.add_option("--clock", clock,
                    "In virtual time: what people's clocks say at the begin, as\n"
                    "2026-06-01T22:00:00 (local), or with Z or +02:00 after it");
}

CommandBody add_run_command(CLI::App& parser) {
  const auto options = std::make_shared<RunOptions>();
  parser.add_option("SCENARIO", options->scenario, "Scenario file: what to do");
  parser.add_option("--rig", options->rig, "Rig file: what to do it with");
  parser.add_option("--out", options->out,
                    "Folder for the run (else a dated one under reports/runs)");
  parser.add_option("--resume", options->resume,
                    "Go on with the interrupted run in this folder, at its next trial");
  parser
      .add_option("--seed", options->seed, "Instead of the scenario's seed: another night's draws")
      ->check(CLI::Range(std::int64_t{0}, std::numeric_limits<std::int64_t>::max()));
  parser.add_flag("--lifted", options->lifted,
                  "The tapper stands clear of the surface: whatever is heard then is no knock");
  parser.add_flag("--arm", options->arm,
                  "On real lines: arm after a countdown of five seconds instead of a key press");
  add_clock_option(parser, options->clock);
  parser.add_flag("--json", options->json, "Print results.json instead of the summary");
  parser.footer(std::string("On a rig of kind \"lines\" this moves the tapper.\n\n") + cautions +
                "\nExample: plexor run scenarios/regression.toml --rig rig/simulated-oak.toml\n"
                "         plexor run --resume reports/runs/2026-06-11_213000_night");
  return [options] {
    check_options(*options);
    const auto finished = tap_and_report(*options);
    if (!finished) return ExitCode::undecided;
    print_results(finished->folder, finished->results, options->json);
    return exit_code_of(finished->results);
  };
}

}  // namespace plexor::app
