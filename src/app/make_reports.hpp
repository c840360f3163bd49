#pragma once

#include "analysis/results.hpp"
#include "report/terminal.hpp"
#include "run/run_folder.hpp"

namespace plexor::app {

/// Reads a run's journal and writes all its reports beside it. The same journal
/// gives the same bytes. Returns what was found.
analysis::Results make_reports(const run::RunFolder& folder);

/// Width and colours of what stdout is.
[[nodiscard]] report::Style style_of_stdout();

/// The answer on stdout: the terminal summary and where the reports are, or,
/// with `as_json`, results.json's text.
void print_results(const run::RunFolder& folder, const analysis::Results& results, bool as_json);

}  // namespace plexor::app
