#pragma once

#include <string>

#include "analysis/comparing/units.hpp"
#include "report/terminal.hpp"

namespace plexor::report {

/// The answer for a terminal: headline, a table of the units, tests and remarks.
[[nodiscard]] std::string units_text(const analysis::UnitsTable& table, Style style);

/// The format of the units' JSON document.
inline constexpr int units_format = 1;

/// All of it as one JSON document.
[[nodiscard]] std::string units_json(const analysis::UnitsTable& table);

}  // namespace plexor::report
