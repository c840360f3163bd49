#pragma once

#include <CLI/CLI.hpp>
#include <optional>
#include <string>

#include "analysis/results.hpp"
#include "app/run_journal.hpp"
#include "run/run_folder.hpp"

namespace plexor::app {

/// --clock, as every command has it that runs on a rig in virtual time.
void add_clock_option(CLI::App& parser, std::string& clock);

struct FinishedRun {
  run::RunFolder folder;
  analysis::Results results;
};

/// The main job: a new run, or the rest of an interrupted one, with its reports, its summary
/// published and posted. Nothing if nobody gave leave to tap. Throws base::InputError for what
/// can't be run, and base::RigFault with nothing energised.
[[nodiscard]] std::optional<FinishedRun> tap_and_report(RunOptions options);

}  // namespace plexor::app
