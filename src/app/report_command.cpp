#include <memory>
#include <string>

#include "app/commands.hpp"
#include "app/make_reports.hpp"

namespace plexor::app {

CommandBody add_report_command(CLI::App& parser) {
  struct Options {
    std::string run;
    bool json = false;
  };
  const auto options = std::make_shared<Options>();
  parser.add_option("RUN", options->run, "Folder of the run")->required();
  parser.add_flag("--json", options->json, "Print results.json instead of the summary");
  parser.footer("Example: plexor report reports/runs/2026-06-11_0930_release-check");
  return [options] {
    const run::RunFolder folder = run::open_run_folder(options->run);
    const analysis::Results results = make_reports(folder);
    print_results(folder, results, options->json);
    return exit_code_of(results);
  };
}

}  // namespace plexor::app
