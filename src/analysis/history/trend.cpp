#include "analysis/history/trend.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <set>

#include "analysis/history/alarm_hours.hpp"
#include "analysis/history/change_findings.hpp"
#include "analysis/history/control_chart.hpp"
#include "analysis/history/naming.hpp"
#include "analysis/history/night_facts.hpp"
#include "analysis/history/trend_series.hpp"
#include "analysis/history/trend_words.hpp"
#include "analysis/number_text.hpp"

namespace plexor::analysis {

std::size_t Trend::missing_nights() const {
  return static_cast<std::size_t>(std::ranges::count(nights, true, &TrendNight::missing));
}

std::size_t Trend::runs() const { return nights.size() - missing_nights(); }

namespace {

/// In order of the first night that each names; what names none comes last.
void sort_findings(Trend& trend) {
  const auto first_night = [&](const TrendFinding& finding) {
    const auto at = finding.nights.empty() ? trend.nights.end()
                                           : std::ranges::find(trend.nights, finding.nights.front(),
                                                               &TrendNight::name);
    return at - trend.nights.begin();
  };
  std::ranges::stable_sort(trend.findings, {}, first_night);
  for (std::size_t i = 0; i < trend.findings.size(); ++i) {
    const TrendFinding& finding = trend.findings[i];
    for (TrendNight& night : trend.nights) {
      const bool there =
          night.run.rig == finding.rig &&
          (night.missing || finding.scenario.empty() || night.run.scenario == finding.scenario);
      if (there && std::ranges::count(finding.nights, night.name) > 0) night.findings.push_back(i);
    }
  }
}

/// "14 nights (2026-06-01 to 2026-06-14)": those that had runs.
std::string span_of(const Trend& trend) {
  if (trend.nights.front().day == trend.nights.back().day) {
    return "the night of " + trend.nights.front().date;
  }
  std::set<std::int64_t> with_runs;
  for (const TrendNight& night : trend.nights) {
    if (!night.missing) with_runs.insert(night.day);
  }
  return fmt::format("{} ({} to {})", counted(with_runs.size(), "night"), trend.nights.front().date,
                     trend.nights.back().date);
}

std::string headline_of(const Trend& trend) {
  constexpr std::size_t most_told = 4;
  if (trend.nights.empty()) return "No runs: nothing can be said.";
  const std::string span = span_of(trend);
  if (trend.findings.empty()) {
    return fmt::format("Nothing stands out in {}: {}.", span,
                       std::ranges::all_of(trend.tests, &TrendTest::of_hours)
                           ? "no hole and no broken device, and too few nights to test for changes"
                           : "no hole, no broken device, no step and no drift");
  }
  std::string text = fmt::format("{} in {}: ", counted(trend.findings.size(), "finding"), span);
  for (std::size_t i = 0; i < trend.findings.size(); ++i) {
    if (i == most_told && trend.findings.size() > most_told + 1) {
      return text + fmt::format("; and {} more.", trend.findings.size() - most_told);
    }
    text += (i > 0 ? "; " : "") + trend.findings[i].brief;
  }
  return text + ".";
}

void remark_on_few_nights(Trend& trend) {
  std::size_t short_series = 0;
  for (const TrendSeries& series : trend.series) {
    const auto good = history::good_points(series).size();
    short_series += good < trend.settings.least_nights ? 1 : 0;
  }
  if (short_series == 0) return;
  trend.remarks.push_back(
      fmt::format("{} with fewer than {} good nights: no test for changes there",
                  counted(short_series, "figure"), trend.settings.least_nights));
}

}  // namespace

Trend trend_of(std::span<const RunFigures> runs, const TrendSettings& settings) {
  Trend trend;
  trend.settings = settings;
  history::gather_nights(trend, runs);
  history::gather_series(trend);
  history::gather_hours(trend);
  for (TrendSeries& series : trend.series) {
    history::draw_chart(series);
    history::look_along(trend, series);
  }
  history::find_facts(trend);
  const std::vector<history::NamedChange> changes = history::name_changes(trend);
  history::find_changes(trend, changes);
  sort_findings(trend);
  remark_on_few_nights(trend);
  trend.headline = headline_of(trend);
  return trend;
}

}  // namespace plexor::analysis
