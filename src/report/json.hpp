#pragma once

#include <string>

#include "analysis/results.hpp"

namespace plexor::report {

/// The format of results.json, described by reports/results.schema.json.
inline constexpr int results_format = 4;

/// results.json: all figures, with stable key order, units in the keys, numbers to nine digits and
/// a line feed at the end. What is infinite is null with a sibling flag `..._beyond` true. The
/// full texts of scenario and rig stay in the journal.
[[nodiscard]] std::string results_json(const analysis::Results& results);

}  // namespace plexor::report
