#pragma once

#include <functional>

#include "analysis/analyse.hpp"
#include "run/run_folder.hpp"

namespace plexor::app {

/// Reads a run's journal behind a progress bar. `header` is told first, then each row as Analysis
/// gives them. Throws what reading and analysing throw.
[[nodiscard]] analysis::Results analyse_run(
    const run::RunFolder& folder, const std::function<void(const analysis::TrialRow&)>& row,
    const std::function<void(const journal::Header&)>& header = {});

}  // namespace plexor::app
