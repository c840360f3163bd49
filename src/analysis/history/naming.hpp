#pragma once

#include "analysis/history/explanations.hpp"
#include "analysis/history/trend.hpp"

// Which changes are named, with the error of all names together under control; only for files of
// this folder.

namespace plexor::analysis::history {

/// A change that is named.
struct NamedChange {
  Stretch stretch;  ///< in which it was found
  Explanation explanation;
  double p_adjusted = 1.0;
};

/// Names changes round by round, and writes down all tests. In the first round the hours of alarms
/// are judged along; their `named` is set.
[[nodiscard]] std::vector<NamedChange> name_changes(Trend& trend);

}  // namespace plexor::analysis::history
