#include "report/trend_views.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "analysis/number_text.hpp"
#include "report/comparison_cells.hpp"
#include "report/format.hpp"

namespace plexor::report {

namespace {

using analysis::Figure;
using analysis::Trend;
using analysis::TrendFinding;
using analysis::TrendNight;
using analysis::TrendPoint;
using analysis::TrendSeries;

std::string share_cell(const analysis::Counts& counts) {
  if (counts.n == 0) return "–";
  return quantity(static_cast<double>(counts.x) / static_cast<double>(counts.n), "");
}

std::string alarm_cell(const analysis::DeviceFigures& device) {
  if (device.quiet_hours <= 0.0) return "–";
  return fmt::format("{:.2f}", static_cast<double>(device.incidents) / device.quiet_hours);
}

std::string run_cell(const TrendNight& night) {
  if (night.missing) return "no run";
  if (night.run.ended.empty()) return "no end";
  return night.run.ended == "complete" ? night.run.judged : night.run.ended;
}

/// Numbers of the findings that are about this night, and about this unit or about none.
std::string known_cell(const Trend& trend, const TrendNight& night, const std::string& unit) {
  std::string text;
  for (const std::size_t number : night.findings) {
    const std::string& of = trend.findings[number].unit;
    if (!of.empty() && of != unit) continue;
    text += fmt::format("{}{}", text.empty() ? "finding " : ", ", number + 1);
  }
  if (night.left_out.empty()) return text;
  return text + (text.empty() ? "left out: " + night.left_out : ", left out");
}

NightRow row_of(const Trend& trend, const TrendNight& night,
                const analysis::DeviceFigures& device) {
  return {.night = night.name,
          .unit = device.name,
          .release = device.release,
          .detected = share_cell(device.detected),
          .alarms = alarm_cell(device),
          .median = latency_cell(device.median_ms),
          .run = run_cell(night),
          .known = known_cell(trend, night, device.name)};
}

bool is_about(const TrendFinding& finding, const TrendSeries& series) {
  return finding.figure == series.figure && finding.unit == series.unit &&
         finding.rig == series.rig && finding.surface == series.surface &&
         finding.scenario == series.scenario;
}

std::string owner_of(const TrendSeries& series) {
  return fmt::format("{}’s {}", series.unit.empty() ? "The tapper" : series.unit,
                     to_text(series.figure));
}

bool is_tested(const Trend& trend, const TrendSeries& series) {
  return std::ranges::any_of(trend.tests, [&](const analysis::TrendTest& test) {
    return !test.of_hours && &trend.series[test.series] == &series;
  });
}

}  // namespace

std::vector<NightRow> night_rows(const Trend& trend) {
  std::vector<NightRow> rows;
  for (const TrendNight& night : trend.nights) {
    for (const analysis::DeviceFigures& device : night.run.devices) {
      rows.push_back(row_of(trend, night, device));
    }
    if (!night.run.devices.empty()) continue;
    rows.push_back({.night = night.name,
                    .unit = "–",
                    .release = "–",
                    .detected = "–",
                    .alarms = "–",
                    .median = "–",
                    .run = run_cell(night),
                    .known = known_cell(trend, night, "")});
  }
  return rows;
}

std::string series_title(const Trend& trend, const TrendSeries& series) {
  std::string told;
  for (const TrendFinding& finding : trend.findings) {
    const bool by_hour = finding.kind == analysis::FindingKind::alarm_hours;
    if (is_about(finding, series) && !by_hour) told += (told.empty() ? "" : "; ") + finding.brief;
  }
  if (!told.empty()) return told;
  if (!is_tested(trend, series)) return owner_of(series) + ", night by night";
  const bool several = series.figure == Figure::false_responses ||
                       series.figure == Figure::confusions || series.figure == Figure::alarms;
  return owner_of(series) + (several ? " keep their level" : " keeps its level");
}

std::string series_place(const Trend& trend, const TrendSeries& series) {
  std::set<std::string> surfaces;
  std::set<std::string> scenarios;
  std::set<std::string> rigs;
  for (const TrendSeries& one : trend.series) {
    surfaces.insert(one.surface);
    scenarios.insert(one.scenario);
    rigs.insert(one.rig);
  }
  std::string text;
  if (surfaces.size() > 1) text += " on " + series.surface;
  if (scenarios.size() > 1) text += " with " + series.scenario;
  if (rigs.size() > 1) text += " at " + series.rig;
  return text;
}

std::string point_sample(const TrendSeries& series, const TrendPoint& point) {
  if (series.figure < Figure::alarms) {
    return fmt::format("{} of {}", count(point.counts.x), count(point.counts.n));
  }
  if (series.figure == Figure::alarms) {
    return fmt::format("{} in {}", count(point.counts.x), analysis::hours_text(point.hours));
  }
  return {};
}

std::optional<double> chart_centre(const TrendSeries& series) {
  if (series.baseline_points.size() < 2) return std::nullopt;
  return series.points[series.baseline_points.front()].limits.centre;
}

std::string marks_text(const TrendPoint& point) {
  std::string text;
  for (const analysis::ChartRule rule : point.marks) {
    text += (text.empty() ? "" : ", ") + to_text(rule);
  }
  return text;
}

std::string tested_series(const Trend& trend, const analysis::TrendTest& test) {
  if (test.of_hours) {
    return fmt::format("false alarms of {} by hour", trend.hours[test.series].unit);
  }
  const TrendSeries& series = trend.series[test.series];
  return fmt::format("{} of {}{}", to_text(series.figure),
                     series.unit.empty() ? "the tapper" : series.unit, series_place(trend, series));
}

}  // namespace plexor::report
