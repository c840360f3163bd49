#pragma once

#include "analysis/history/naming.hpp"
#include "analysis/history/trend.hpp"

// Named changes in words; only for files of this folder.

namespace plexor::analysis::history {

/// Findings of named changes and of the named hours of alarms. Marks steps and drifts in the
/// series.
void find_changes(Trend& trend, const std::vector<NamedChange>& changes);

}  // namespace plexor::analysis::history
