#pragma once

#include <vector>

#include "analysis/results.hpp"
#include "analysis/verdicts.hpp"

namespace plexor::analysis {

/// Puts the verdicts into the results and draws the overall judgement and the
/// headline from them. Fails if any limit fails; passes only if each limit passes
/// and nothing else stands against the run: unfinished, damaged, too many voids, no limit.
/// Everything else in `results` must be there already.
void conclude(Results& results, const std::vector<Judged>& judged);

}  // namespace plexor::analysis
