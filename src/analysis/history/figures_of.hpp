#pragma once

#include "analysis/history/run_figures.hpp"
#include "analysis/results.hpp"

namespace plexor::analysis {

/// What a history keeps of a run. `folder` stays empty: whoever imports it knows. Runs without an
/// id of their own (journals before format 6) get one made from their header and host, the same
/// each time. Where no wall clock is known the host's start counts, to the second, in UTC.
[[nodiscard]] RunFigures figures_of(const Results& results);

}  // namespace plexor::analysis
