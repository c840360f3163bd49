#include "report/comparison_page.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <limits>

#include "analysis/number_text.hpp"
#include "report/assets.hpp"
#include "report/comparison_cells.hpp"
#include "report/format.hpp"
#include "report/page_template.hpp"
#include "report/page_view.hpp"
#include "report/text.hpp"

namespace plexor::report {

namespace {

using analysis::ComparedFigure;
using analysis::Comparison;
using analysis::Relation;

constexpr double endless = std::numeric_limits<double>::infinity();

/// The mark of a verdict that is as good: nothing is told by its colour alone.
std::string_view mark_of(Relation relation) {
  if (relation == Relation::worse) return "fail";
  return relation == Relation::undecided ? "undecided" : "pass";
}

std::string word_of(Relation relation) {
  std::string word(to_text(relation));
  std::ranges::transform(word, word.begin(), [](char c) {
    return c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c;
  });
  return word;
}

/// The change, and the margin beyond which it would be worse. Without a margin there is nothing to
/// measure it against.
View change_ruler(const ComparedFigure& one) {
  if (!one.margin) return false;
  const bool is_share = one.unit.empty();
  return ruler({.lower = one.interval.lower,
                .upper = one.interval.upper,
                .estimate = one.change,
                .limit = is_share ? -*one.margin : *one.margin,
                .at_least = is_share});
}

std::string margin_text(const ComparedFigure& one) {
  if (!one.margin) return "none agreed";
  return change_cell(one.unit, one.unit.empty() ? -*one.margin : *one.margin);
}

std::string samples_text(const ComparedFigure& one, bool paired) {
  if (one.unit == "times")
    return fmt::format("{} and {} alarms", count(one.base_n), count(one.candidate_n));
  if (paired && one.unit.empty()) return count(one.base_n) + " pairs";
  return fmt::format("{} and {} trials", count(one.base_n), count(one.candidate_n));
}

View figure_view(const ComparedFigure& one, bool paired) {
  return {{"mark", mark_of(one.relation)},
          {"word", word_of(one.relation)},
          {"device", one.device},
          {"figure", figure_cell(one)},
          {"base", value_cell(one, one.base)},
          {"candidate", value_cell(one, one.candidate)},
          {"change", change_cell(one.unit, one.change)},
          {"interval", interval_cell(one.unit, one.interval)},
          {"method", one.interval.method},
          {"margin", margin_text(one)},
          {"ruler", change_ruler(one)},
          {"sample", samples_text(one, paired)},
          {"p", fmt::format("{:.2g}", one.p_worse_adjusted)},
          {"test", one.test},
          {"decides", one.decides},
          {"reason", one.reason}};
}

View device_view(const analysis::ComparedLatencies& device, std::size_t number) {
  View rows = View::array();
  for (const analysis::ComparedQuantile& one : device.quantiles) {
    rows.push_back({{"name", quantile_name(one.p)},
                    {"base", latency_cell(one.base)},
                    {"candidate", latency_cell(one.candidate)},
                    {"change", change_cell("ms", one.change.estimate)},
                    {"interval", interval_cell("ms", one.change.interval)}});
  }
  return {{"device", device.device},
          {"number", number},
          {"any", !device.base_ecdf.empty() || !device.candidate_ecdf.empty()},
          {"quantiles", rows}};
}

using Steps = std::vector<std::pair<double, double>>;

/// A step curve from 0 to the end of the plot.
View curve(const std::string& name, const Steps& steps, double from, double to) {
  View points = View::array();
  points.push_back({from, 0.0});
  for (const auto& [ms, share] : steps) points.push_back({ms, share});
  points.push_back({to, steps.empty() ? 0.0 : steps.back().second});
  return {{"name", name}, {"unit", ""}, {"points", points}};
}

View chart_of(const Comparison& comparison, const analysis::ComparedLatencies& device) {
  double first = endless;
  double last = 0.0;
  for (const Steps* steps : {&device.base_ecdf, &device.candidate_ecdf}) {
    if (steps->empty()) continue;
    first = std::min(first, steps->front().first);
    last = std::max(last, steps->back().first);
  }
  first = std::min(first, last);
  return {{"time_axis", "after the last contact"},
          {"steps", true},
          {"traces",
           {curve("before: " + comparison.base_version, device.base_ecdf, first, last),
            curve("now: " + comparison.candidate_version, device.candidate_ecdf, first, last)}}};
}

View notices(const Comparison& comparison) {
  View list = View::array();
  for (const std::string& one : comparison.reservations)
    list.push_back("Reservation: " + one + ".");
  for (const analysis::SettingDifference& one : comparison.differences) {
    list.push_back("Differs besides the release: " + in_words(one) + ".");
  }
  return list;
}

View margins_view(const Comparison& comparison) {
  const scenario::Margins& margins = comparison.margins;
  View rows = View::array();
  const auto add = [&](const char* term, const std::string& value) {
    rows.push_back({{"term", term}, {"value", value}});
  };
  add("Detection", fmt::format("{:g} points less", 100.0 * margins.detection));
  add("Latency", analysis::limit_text(margins.latency_ms, "ms") + " later");
  add("False alarms", margins.alarm_ratio ? fmt::format("{:g} times as many", *margins.alarm_ratio)
                                          : "none agreed: they can only speak against a release");
  add("Confidence", analysis::limit_text(margins.confidence, ""));
  add("Given by", margins.given ? "the scenario" : "nobody: the usual ones");
  return rows;
}

}  // namespace

std::string comparison_page(const Comparison& comparison) {
  View figures = View::array();
  for (const ComparedFigure& one : comparison.figures) {
    figures.push_back(figure_view(one, comparison.paired));
  }
  View devices = View::array();
  View charts = View::array();
  for (const analysis::ComparedLatencies& device : comparison.latencies) {
    devices.push_back(device_view(device, charts.size()));
    charts.push_back(chart_of(comparison, device));
  }
  const View view{{"scenario", comparison.scenario_name},
                  {"mark", mark_of(comparison.overall)},
                  {"word", word_of(comparison.overall)},
                  {"headline", comparison.headline},
                  {"simulated", comparison.rig.simulated},
                  {"lifted", comparison.lifted},
                  {"notices", notices(comparison)},
                  {"base_version", comparison.base_version},
                  {"candidate_version", comparison.candidate_version},
                  {"base_runs", comparison.base_runs},
                  {"candidate_runs", comparison.candidate_runs},
                  {"paired", comparison.paired},
                  {"figures", figures},
                  {"many_devices", comparison.latencies.size() > 1},
                  {"confidence", analysis::limit_text(comparison.margins.confidence, "")},
                  {"devices", devices},
                  {"margins", margins_view(comparison)},
                  {"surface", comparison.rig.surface},
                  {"spot", comparison.rig.spot},
                  {"mounting", comparison.rig.mounting}};
  return filled_page(assets::comparison_html, "reports/comparison.html", view, assets::curves_js,
                     charts);
}

}  // namespace plexor::report
