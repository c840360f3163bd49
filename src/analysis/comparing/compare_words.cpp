#include "analysis/comparing/compare_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/number_text.hpp"

namespace plexor::analysis {
namespace {

bool is_share(const ComparedFigure& figure) { return figure.unit.empty(); }

std::string value_text(const ComparedFigure& figure, const std::optional<double>& value) {
  if (!value) return "nothing";
  if (std::isinf(*value)) return "no answer";
  return figure_text(*value, figure.unit == "times" ? "/h" : figure.unit);
}

/// "1.3 points less", "12 ms later", "1.8 times".
std::string change_text(const ComparedFigure& figure, double change) {
  if (figure.unit == "times") {
    return std::isinf(change) ? "any number of times" : fmt::format("{:.2g} times", change);
  }
  if (std::isinf(change)) return change > 0 ? "later without bounds" : "sooner without bounds";
  if (is_share(figure)) {
    return fmt::format("{:.1f} points {}", std::abs(change) * 100.0, change < 0 ? "less" : "more");
  }
  const int digits = std::abs(change) < 10.0 ? 1 : 0;
  return fmt::format("{:.{}f} ms {}", std::abs(change), digits, change > 0 ? "later" : "sooner");
}

std::string margin_text(const ComparedFigure& figure) {
  if (!figure.margin) return "no margin is agreed";
  if (is_share(figure)) return fmt::format("{:.1f} points less may be", *figure.margin * 100.0);
  if (figure.unit == "ms") return fmt::format("{:.0f} ms later may be", *figure.margin);
  return fmt::format("{:.2g} times may be", *figure.margin);
}

std::string what_it_is_about(const ComparedFigure& figure) {
  return figure.rhythm.empty() ? figure.figure
                               : fmt::format("{} of {}", figure.figure, figure.rhythm);
}

/// From how much the interval would have to shrink: its width falls with the root of the trials.
std::string what_more_would_do(const ComparedFigure& figure) {
  if (!figure.change || !figure.margin || figure.unit == "times") return "";
  const bool is_rate = is_share(figure);
  const double worse_end = is_rate ? figure.interval.lower : figure.interval.upper;
  const double room = is_rate ? *figure.change + *figure.margin : *figure.margin - *figure.change;
  const double width = std::abs(worse_end - *figure.change);
  if (room <= 0.0 || !std::isfinite(width)) return "";
  const double factor = (width / room) * (width / room);
  const auto n = static_cast<double>(figure.candidate_n);
  const double more = n * (factor - 1.0);
  if (more < 1.0 || more > 1e7) return "";
  return fmt::format("; about {} more trials of each would show it no worse, if it stays so",
                     about(static_cast<std::uint64_t>(more)));
}

}  // namespace

std::string_view to_text(Relation relation) {
  switch (relation) {
    case Relation::better: return "better";
    case Relation::no_worse: return "no worse";
    case Relation::worse: return "worse";
    case Relation::undecided: return "undecided";
  }
  return "";
}

bool is_within_margin(const ComparedFigure& figure) {
  if (!figure.margin) return false;
  return is_share(figure) ? figure.interval.lower > -*figure.margin
                          : figure.interval.upper < *figure.margin;
}

std::string reason_of(const ComparedFigure& figure, bool paired) {
  const std::string begin =
      fmt::format("{}, {}: {} before, {} now", figure.device, what_it_is_about(figure),
                  value_text(figure, figure.base), value_text(figure, figure.candidate));
  const std::string trials =
      figure.unit == "times" ? fmt::format("{} and {}", counted(figure.base_n, "alarm"),
                                           counted(figure.candidate_n, "alarm"))
      : paired && is_share(figure)
          ? counted(figure.base_n, "pair") + " of trials"
          : fmt::format("{} and {}", figure.base_n, counted(figure.candidate_n, "trial"));
  const std::string change =
      figure.change ? change_text(figure, *figure.change) : "no change to tell";
  std::string reason = fmt::format(
      "{} ({}): {}, with {} confidence between {} and {}; {}: {}", begin, trials, change,
      limit_text(figure.interval.confidence, ""), change_text(figure, figure.interval.lower),
      change_text(figure, figure.interval.upper), margin_text(figure), to_text(figure.relation));
  if (figure.relation == Relation::undecided) reason += what_more_would_do(figure);
  return reason;
}

std::string headline_of(const Comparison& comparison) {
  if (!comparison.reservations.empty()) return comparison.reservations.front();
  for (const ComparedFigure& one : comparison.figures) {
    if (one.relation == Relation::worse) return one.reason;
  }
  if (comparison.overall == Relation::undecided) {
    for (const ComparedFigure& one : comparison.figures) {
      if (one.decides && one.relation == Relation::undecided) return one.reason;
    }
  }
  const auto deciding = std::ranges::count_if(comparison.figures, &ComparedFigure::decides);
  return fmt::format("{} is {} than {}; {} decided", comparison.candidate_version,
                     to_text(comparison.overall), comparison.base_version,
                     counted(static_cast<std::uint64_t>(deciding), "figure"));
}

}  // namespace plexor::analysis
