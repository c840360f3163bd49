#include "report/trend.hpp"

#include <fmt/format.h>

#include "analysis/number_text.hpp"
#include "report/layout.hpp"
#include "report/text.hpp"
#include "report/trend_views.hpp"

namespace plexor::report {

namespace {

using analysis::Trend;

std::string nights_table(const Trend& trend) {
  std::vector<std::vector<std::string>> rows{
      {"night", "unit", "release", "detected", "alarms/h", "median", "run", ""}};
  std::string before;
  for (const NightRow& row : night_rows(trend)) {
    rows.push_back({row.night == before ? "" : row.night, printable_line(row.unit),
                    printable_line(row.release), row.detected, row.alarms, row.median,
                    printable_line(row.run), printable_line(row.known)});
    before = row.night;
  }
  return table(rows);
}

std::uint64_t marks_on_charts(const Trend& trend) {
  std::uint64_t marks = 0;
  for (const analysis::TrendSeries& series : trend.series) {
    for (const analysis::TrendPoint& point : series.points) marks += point.marks.size();
  }
  return marks;
}

/// How sure what is said is.
std::string how_sure(const Trend& trend) {
  if (trend.tests.empty()) return {};
  return fmt::format(
      "{} judged together (Holm): of an unchanging history anything at all is named with a "
      "probability of at most {}. {} on the control charts beside that: looked at, no findings.",
      analysis::counted(trend.tests.size(), "test"), analysis::limit_text(trend.settings.alpha, ""),
      analysis::counted(marks_on_charts(trend), "signal"));
}

}  // namespace

std::string trend_text(const Trend& trend, Style style) {
  std::string out = wrapped(printable_line(trend.headline), 0, style.width);
  if (trend.simulated) {
    out += wrapped("Simulated: no evidence about a real device.", 0, style.width);
  }
  if (trend.nights.empty()) return out;
  out += "\n" + nights_table(trend) + "\n";
  for (std::size_t i = 0; i < trend.findings.size(); ++i) {
    out += wrapped(fmt::format("{}. {}", i + 1, printable_line(trend.findings[i].sentence)), 0,
                   style.width);
  }
  if (!trend.findings.empty()) out += "\n";
  for (const std::string& remark : trend.remarks) {
    out += wrapped("note: " + printable_line(remark), 0, style.width);
  }
  return out + wrapped(how_sure(trend), 0, style.width);
}

}  // namespace plexor::report
