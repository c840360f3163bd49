#include <fmt/format.h>

#include <memory>
#include <string>

#include "app/commands.hpp"
#include "app/keep_nights.hpp"

namespace plexor::app {

void add_retention_options(CLI::App& parser, run::Retention& retention) {
  parser
      .add_option("--journals", retention.journals,
                  "Journals of so many nights stay, the last ones")
      ->check(CLI::Range(1, 100'000))
      ->capture_default_str();
  parser
      .add_option("--waveforms", retention.waveforms,
                  "Waveforms of so many, at most as many as journals")
      ->check(CLI::Range(0, 100'000))
      ->capture_default_str();
}

CommandBody add_keep_command(CLI::App& parser) {
  struct Options {
    std::string folder;
    run::Retention retention;
    bool dry_run = false;
  };
  const auto options = std::make_shared<Options>();
  parser.add_option("FOLDER", options->folder, "Folder that holds runs")->required();
  add_retention_options(parser, options->retention);
  parser.add_flag("--dry-run", options->dry_run, "Only say what would be removed");
  parser.footer(
      "Results, tables and pages stay for good; without its journal a run can't be reported or\n"
      "compared again. A run that goes on, was interrupted, or has no results yet loses nothing.\n"
      "Example: plexor keep reports/runs --journals 14 --waveforms 7");
  return [options] {
    for (const std::string& line :
         keep_nights(options->folder, options->retention, options->dry_run)) {
      fmt::print("{}\n", line);
    }
    return ExitCode::pass;
  };
}

}  // namespace plexor::app
