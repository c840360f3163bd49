#include <nlohmann/json.hpp>

#include "report/json_values.hpp"
#include "report/trend.hpp"
#include "report/trend_views.hpp"

namespace plexor::report {

namespace {

using analysis::Trend;
using Json = nlohmann::ordered_json;

std::string_view unit_name(analysis::Figure figure) {
  const std::string_view unit = unit_of(figure);
  if (unit.empty()) return "share";
  if (unit == "/h") return "per_hour";
  return unit == "ms" ? "ms" : "degrees_c";
}

Json finding_json(const analysis::TrendFinding& finding) {
  return {{"kind", to_text(finding.kind)},
          {"cause", to_text(finding.cause)},
          {"nights", finding.nights},
          {"unit", text_or_null(finding.unit)},
          {"release", text_or_null(finding.release)},
          {"rig", text_or_null(finding.rig)},
          {"surface", text_or_null(finding.surface)},
          {"scenario", text_or_null(finding.scenario)},
          {"figure", finding.figure ? Json(to_text(*finding.figure)) : Json(nullptr)},
          {"p_adjusted", optional_number(finding.p)},
          {"brief", finding.brief},
          {"sentence", finding.sentence}};
}

Json night_json(const analysis::TrendNight& night) {
  Json findings = Json::array();
  for (const std::size_t number : night.findings) findings.push_back(number);
  const analysis::RunFigures& run = night.run;
  return {{"night", night.name},
          {"missing", night.missing},
          {"run_id", text_or_null(run.run_id)},
          {"folder", text_or_null(run.folder)},
          {"rig", text_or_null(run.rig)},
          {"surface", text_or_null(run.surface)},
          {"scenario", text_or_null(run.scenario)},
          {"ended", text_or_null(run.ended)},
          {"judged", text_or_null(run.judged)},
          {"holes", run.holes.size()},
          {"left_out", text_or_null(night.left_out)},
          {"findings", findings}};
}

Json point_json(const Trend& trend, const analysis::TrendSeries& series,
                const analysis::TrendPoint& point) {
  Json marks = Json::array();
  for (const analysis::ChartRule rule : point.marks) marks.push_back(to_text(rule));
  const bool counted = point.interval.has_value();
  const bool alarms = series.figure == analysis::Figure::alarms;
  return {{"night", trend.nights[point.night].name},
          {"release", text_or_null(point.release)},
          {"value", number(point.value)},
          {"x", counted ? Json(point.counts.x) : Json(nullptr)},
          {"n", counted && !alarms ? Json(point.counts.n) : Json(nullptr)},
          {"quiet_hours", alarms ? number(point.hours) : Json(nullptr)},
          {"lower", counted ? number(point.interval->lower) : Json(nullptr)},
          {"upper", counted ? number(point.interval->upper) : Json(nullptr)},
          {"left_out", text_or_null(point.left_out)},
          {"limit_lower", number(point.limits.lower)},
          {"limit_upper", number(point.limits.upper)},
          {"off_sd", number(point.limits.off)},
          {"cusum_high_sd", number(point.cusum_high)},
          {"cusum_low_sd", number(point.cusum_low)},
          {"ewma_sd", number(point.ewma)},
          {"marks", marks}};
}

Json look_json(const analysis::TrendLook& look) {
  return {{"stretch", look.stretch},
          {"nights", look.nights},
          {"mann_kendall_s", look.kendall.s},
          {"mann_kendall_p", number(look.kendall.p)},
          {"sen_slope_per_night", look.sen ? number(look.sen->slope) : Json(nullptr)},
          {"laplace_z", look.laplace ? number(look.laplace->z) : Json(nullptr)},
          {"laplace_p", look.laplace ? number(look.laplace->p) : Json(nullptr)}};
}

Json series_json(const Trend& trend, const analysis::TrendSeries& series) {
  Json json{{"figure", to_text(series.figure)},
            {"value_unit", unit_name(series.figure)},
            {"unit", text_or_null(series.unit)},
            {"scenario", series.scenario},
            {"rig", series.rig},
            {"surface", series.surface},
            {"title", series_title(trend, series)},
            {"baseline", series.baseline},
            {"baseline_nights", Json::array()},
            {"centre", optional_number(chart_centre(series))},
            {"moving_range_limit", optional_number(series.range_limit)},
            {"steps", Json::array()},
            {"drifts", Json::array()},
            {"points", Json::array()},
            {"looked_at", Json::array()}};
  const auto night_of = [&](std::size_t place) {
    return trend.nights[series.points[place].night].name;
  };
  for (const std::size_t i : series.baseline_points) json["baseline_nights"].push_back(night_of(i));
  for (const std::size_t i : series.steps) json["steps"].push_back(night_of(i));
  for (const std::size_t i : series.drifts) json["drifts"].push_back(night_of(i));
  for (const auto& point : series.points)
    json["points"].push_back(point_json(trend, series, point));
  for (const auto& look : series.looks) json["looked_at"].push_back(look_json(look));
  return json;
}

Json hours_json(const analysis::AlarmHours& all) {
  Json hours = Json::array();
  for (std::size_t hour = 0; hour < all.hours.size(); ++hour) {
    const analysis::AlarmHours::Hour& one = all.hours[hour];
    hours.push_back({{"hour", hour},
                     {"quiet_hours", number(one.quiet_hours)},
                     {"incidents", one.incidents},
                     {"nights", one.nights},
                     {"p_adjusted", number(one.p)},
                     {"named", one.named}});
  }
  return {{"unit", all.unit},
          {"scenario", all.scenario},
          {"rig", all.rig},
          {"surface", all.surface},
          {"hours", hours}};
}

Json test_json(const Trend& trend, const analysis::TrendTest& test) {
  return {{"of", tested_series(trend, test)},
          {"what", test.what},
          {"test", test.test},
          {"round", test.round},
          {"p", number(test.p)},
          {"p_adjusted", number(test.p_adjusted)},
          {"named", test.named}};
}

}  // namespace

std::string trend_json(const Trend& trend) {
  Json json{{"format", trend_format},       {"headline", trend.headline},
            {"simulated", trend.simulated}, {"alpha", number(trend.settings.alpha)},
            {"runs", trend.runs()},         {"missing_nights", trend.missing_nights()},
            {"findings", Json::array()},    {"remarks", trend.remarks},
            {"nights", Json::array()},      {"series", Json::array()},
            {"alarm_hours", Json::array()}, {"tests", Json::array()}};
  for (const auto& one : trend.findings) json["findings"].push_back(finding_json(one));
  for (const auto& one : trend.nights) json["nights"].push_back(night_json(one));
  for (const auto& one : trend.series) json["series"].push_back(series_json(trend, one));
  for (const auto& one : trend.hours) json["alarm_hours"].push_back(hours_json(one));
  for (const auto& one : trend.tests) json["tests"].push_back(test_json(trend, one));
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace plexor::report
