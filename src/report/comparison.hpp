#pragma once

#include <string>

#include "analysis/comparing/compare.hpp"
#include "report/terminal.hpp"

namespace plexor::report {

/// The answer for a terminal: headline, a table of all figures, why; ends with a line feed.
[[nodiscard]] std::string comparison_text(const analysis::Comparison& comparison, Style style);

/// The format of the comparison's JSON document.
inline constexpr int comparison_format = 1;

/// All of it as one JSON document: stable key order, what is infinite is null.
[[nodiscard]] std::string comparison_json(const analysis::Comparison& comparison);

}  // namespace plexor::report
