#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "analysis/comparing/compare.hpp"

// What stands in the tables of a comparison, on the terminal and on the page. `unit` is a figure's:
// "" (share), "ms" or "times".

namespace plexor::report {

/// "+1.2 points", "-12 ms", "1.80 times"; a dash for nothing or without end.
[[nodiscard]] std::string change_cell(std::string_view unit, const std::optional<double>& change);
/// "-1.2 points to +0.4 points"
[[nodiscard]] std::string interval_cell(std::string_view unit, const analysis::Interval& interval);
/// A figure in one of the releases.
[[nodiscard]] std::string value_cell(const analysis::ComparedFigure& figure,
                                     const std::optional<double>& value);
[[nodiscard]] std::string latency_cell(const std::optional<double>& ms);
/// "detection rate of call"
[[nodiscard]] std::string figure_cell(const analysis::ComparedFigure& figure);
/// "p95"
[[nodiscard]] std::string quantile_name(double p);

}  // namespace plexor::report
