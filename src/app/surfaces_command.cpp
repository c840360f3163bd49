#include <fmt/format.h>

#include <memory>
#include <string>
#include <vector>

#include "app/analyse_run.hpp"
#include "app/commands.hpp"
#include "report/surfaces.hpp"
#include "run/file_replacement.hpp"

namespace plexor::app {

namespace {

struct SurfacesOptions {
  std::vector<std::string> runs;
  std::string page;
  bool json = false;
};

ExitCode set_side_by_side(const SurfacesOptions& options) {
  std::vector<analysis::Results> runs;
  for (const std::string& path : options.runs) {
    for (const run::RunFolder& folder : run::open_run_folders(path)) {
      runs.push_back(analyse_run_and_waveforms(folder));
    }
  }
  const std::vector<report::SurfaceRow> rows = report::surface_rows(runs);
  if (!options.page.empty()) run::replace_file(options.page, report::surfaces_page(runs, rows));
  fmt::print("{}", options.json ? report::surfaces_json(runs) : report::surfaces_text(rows));
  if (!options.page.empty() && !options.json) fmt::print("\npage: {}\n", options.page);
  return ExitCode::pass;
}

}  // namespace

CommandBody add_surfaces_command(CLI::App& parser) {
  const auto options = std::make_shared<SurfacesOptions>();
  parser.add_option("RUN", options->runs, "Runs of surface scenarios, or folders with several")
      ->required();
  parser.add_option("--page", options->page, "Also write a page (.html) with them side by side");
  parser.add_flag("--json", options->json, "Print one JSON document instead of text");
  parser.footer(
      "Example: plexor surfaces reports/runs/oak reports/runs/granite --page surfaces.html\n"
      "How hard one must knock on each, how it rings, and what a detector should have there.");
  return [options] { return set_side_by_side(*options); };
}

}  // namespace plexor::app
