#include <fmt/format.h>

#include <filesystem>
#include <memory>
#include <set>
#include <string>
#include <vector>

#include "analysis/comparing/units.hpp"
#include "app/analyse_run.hpp"
#include "app/commands.hpp"
#include "app/make_reports.hpp"
#include "base/error.hpp"
#include "report/units.hpp"

namespace plexor::app {

namespace {

struct UnitsOptions {
  std::vector<std::string> runs;
  bool json = false;
};

ExitCode tell_units_apart(const UnitsOptions& options) {
  std::vector<analysis::RunEvidence> runs;
  std::set<std::filesystem::path> seen;
  for (const std::string& path : options.runs) {
    for (analysis::RunEvidence& run : evidence_in(path)) {
      if (!seen.insert(std::filesystem::weakly_canonical(run.place)).second) {
        throw base::InputError({run.place, 0, 0}, "a run that was given already", "each run once",
                               "twice the same knocks are no more evidence");
      }
      runs.push_back(std::move(run));
    }
  }
  const analysis::UnitsTable table = analysis::table_of_units(runs);
  fmt::print("{}", options.json ? report::units_json(table)
                                : report::units_text(table, style_of_stdout()));
  if (table.standing_out > 0) return ExitCode::fail;
  return table.reservations.empty() ? ExitCode::pass : ExitCode::undecided;
}

}  // namespace

CommandBody add_units_command(CLI::App& parser) {
  const auto options = std::make_shared<UnitsOptions>();
  parser
      .add_option("RUN", options->runs,
                  "Runs, or folders with several: each device by its name is a unit")
      ->required();
  parser.add_flag("--json", options->json, "Print one JSON document instead of text");
  parser.footer(
      "Example: plexor units reports/runs/unit-1 reports/runs/unit-2 reports/runs/unit-3\n"
      "Exit code 0: none stands out; 1: one does, by name; 4: runs that decide nothing; 2: not "
      "comparable.");
  return [options] { return tell_units_apart(*options); };
}

}  // namespace plexor::app
