#pragma once

#include "analysis/history/trend.hpp"

// What the journals tell of single nights; only for files of this folder.

namespace plexor::analysis::history {

/// Holes, bad ends, missing nights, broken devices: each a finding.
void find_facts(Trend& trend);

}  // namespace plexor::analysis::history
