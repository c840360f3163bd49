#include <fmt/format.h>

#include <iterator>
#include <memory>
#include <string>
#include <vector>

#include "analysis/comparing/units.hpp"
#include "app/analyse_run.hpp"
#include "app/commands.hpp"
#include "app/make_reports.hpp"
#include "report/units.hpp"

namespace plexor::app {

namespace {

struct UnitsOptions {
  std::vector<std::string> runs;
  bool json = false;
};

ExitCode tell_units_apart(const UnitsOptions& options) {
  std::vector<analysis::RunEvidence> runs;
  for (const std::string& path : options.runs) {
    auto group = evidence_in(path);
    std::move(group.begin(), group.end(), std::back_inserter(runs));
  }
  const analysis::UnitsTable table = analysis::table_of_units(runs);
  fmt::print("{}", options.json ? report::units_json(table)
                                : report::units_text(table, style_of_stdout()));
  return table.standing_out == 0 ? ExitCode::pass : ExitCode::fail;
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
      "Exit code 0: none stands out; 1: one does, by name; 2: not comparable.");
  return [options] { return tell_units_apart(*options); };
}

}  // namespace plexor::app
