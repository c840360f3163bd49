#include "report/comparison_cells.hpp"

#include <fmt/format.h>

#include <cmath>

#include "report/format.hpp"
#include "report/text.hpp"

namespace plexor::report {

std::string change_cell(std::string_view unit, const std::optional<double>& change) {
  if (!change || !std::isfinite(*change)) return "–";
  const double shown = unit.empty() ? *change * 100.0 : *change;
  const double nothing = std::abs(shown) < 0.05 ? 0.0 : shown;  // no "-0.0"
  if (unit.empty()) return fmt::format("{:+.1f} points", nothing);
  if (unit == "ms") return fmt::format("{:+.{}f} ms", nothing, std::abs(shown) < 10 ? 1 : 0);
  return fmt::format("{:.2f} times", *change);
}

std::string interval_cell(std::string_view unit, const analysis::Interval& interval) {
  const std::string lower = change_cell(unit, interval.lower);
  const std::string upper = change_cell(unit, interval.upper);
  if (std::isfinite(interval.lower) && std::isfinite(interval.upper)) return lower + " to " + upper;
  if (std::isfinite(interval.lower)) return "at least " + lower;
  return std::isfinite(interval.upper) ? "at most " + upper : "no bounds";
}

std::string value_cell(const analysis::ComparedFigure& figure, const std::optional<double>& value) {
  if (!value) return "–";
  return quantity(*value, figure.unit == "times" ? "/h" : figure.unit);
}

std::string latency_cell(const std::optional<double>& ms) { return ms ? quantity(*ms, "ms") : "–"; }

std::string figure_cell(const analysis::ComparedFigure& figure) {
  return figure.rhythm.empty() ? figure.figure
                               : figure.figure + " of " + printable_line(figure.rhythm);
}

std::string quantile_name(double p) { return fmt::format("p{:.6g}", 100.0 * p); }

}  // namespace plexor::report
