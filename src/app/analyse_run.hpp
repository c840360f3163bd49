#pragma once

#include <functional>
#include <string>
#include <vector>

#include "analysis/analyse.hpp"
#include "analysis/comparing/run_evidence.hpp"
#include "analysis/history/run_figures.hpp"
#include "run/run_folder.hpp"

namespace plexor::app {

/// Reads a run's journal behind a progress bar. `header` is told first, then each row as Analysis
/// gives them. Throws what reading and analysing throw.
[[nodiscard]] analysis::Results analyse_run(
    const run::RunFolder& folder, const std::function<void(const analysis::TrialRow&)>& row,
    const std::function<void(const journal::Header&)>& header = {});

/// The same, with what the run's waveforms say, where it has some.
[[nodiscard]] analysis::Results analyse_run_and_waveforms(
    const run::RunFolder& folder, const std::function<void(const analysis::TrialRow&)>& row = {},
    const std::function<void(const journal::Header&)>& header = {});

/// What a history keeps of a run, with where it is.
[[nodiscard]] analysis::RunFigures figures_in(const run::RunFolder& folder);

/// What comparisons need of each run at `path`: a run's folder, or a folder with several. Throws
/// what reading and analysing throw.
[[nodiscard]] std::vector<analysis::RunEvidence> evidence_in(const std::string& path);

}  // namespace plexor::app
