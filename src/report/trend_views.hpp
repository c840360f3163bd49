#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "analysis/history/trend.hpp"

// What terminal and page say alike about a trend.

namespace plexor::report {

/// One device in one run; or a night without a run.
struct NightRow {
  std::string night;
  std::string unit;
  std::string release;
  std::string detected;
  std::string alarms;
  std::string median;
  std::string run;    ///< "pass", "interrupted", "no run"
  std::string known;  ///< numbers of the findings that name it, and why it is left out
};
[[nodiscard]] std::vector<NightRow> night_rows(const analysis::Trend& trend);

/// What a series shows, for its chart: "panel's detection falls since release 1.5", "panel's
/// detection keeps its level".
[[nodiscard]] std::string series_title(const analysis::Trend& trend,
                                       const analysis::TrendSeries& series);
/// " on granite slab at rig 2": what tells series of one unit apart, where anything does.
[[nodiscard]] std::string series_place(const analysis::Trend& trend,
                                       const analysis::TrendSeries& series);
/// "316 of 320", "3 in 4 h"; empty for measured figures.
[[nodiscard]] std::string point_sample(const analysis::TrendSeries& series,
                                       const analysis::TrendPoint& point);
/// The centre line of the series' chart; nothing for fewer than 2 good nights.
[[nodiscard]] std::optional<double> chart_centre(const analysis::TrendSeries& series);
/// "beyond 3 sigma, CUSUM beyond its limit"; empty without.
[[nodiscard]] std::string marks_text(const analysis::TrendPoint& point);
/// "detection of panel", "false alarms of panel by hour": what a test is about.
[[nodiscard]] std::string tested_series(const analysis::Trend& trend,
                                        const analysis::TrendTest& test);

}  // namespace plexor::report
