#pragma once

#include <vector>

#include "analysis/results.hpp"
#include "analysis/verdicts.hpp"

namespace plexor::analysis {

/// Puts the verdicts into the results and draws the overall judgement and the
/// headline from them. Undecided if anything stands against the run as a whole:
/// unfinished, damaged, too many voids, not the planned trials, no limit. Else fails if any limit
/// fails, and passes only if each limit passes.
/// Everything else in `results` must be there already.
void conclude(Results& results, const std::vector<Judged>& judged);

}  // namespace plexor::analysis
