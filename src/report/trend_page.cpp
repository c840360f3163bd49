#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "analysis/number_text.hpp"
#include "report/assets.hpp"
#include "report/format.hpp"
#include "report/page_template.hpp"
#include "report/page_view.hpp"
#include "report/text.hpp"
#include "report/trend.hpp"
#include "report/trend_views.hpp"

namespace plexor::report {

namespace {

using analysis::Figure;
using analysis::Trend;
using analysis::TrendFinding;
using analysis::TrendPoint;
using analysis::TrendSeries;

std::string p_cell(double p) { return p < 1e-4 ? "< 0.0001" : fmt::format("{:.2g}", p); }

View findings_view(const Trend& trend) {
  View rows = View::array();
  for (const TrendFinding& finding : trend.findings) {
    std::string nights;
    for (const std::string& night : finding.nights) nights += (nights.empty() ? "" : ", ") + night;
    rows.push_back({{"number", rows.size() + 1},
                    {"nights", nights.empty() ? "all" : nights},
                    {"cause", to_text(finding.cause)},
                    {"p", finding.p ? p_cell(*finding.p) : std::string("–")},
                    {"sentence", finding.sentence}});
  }
  return rows;
}

View nights_view(const Trend& trend) {
  View rows = View::array();
  std::string before;
  for (const NightRow& row : night_rows(trend)) {
    rows.push_back({{"night", row.night},
                    {"again", row.night == before},
                    {"unit", row.unit},
                    {"release", row.release},
                    {"detected", row.detected},
                    {"alarms", row.alarms},
                    {"median", row.median},
                    {"run", row.run},
                    {"known", row.known}});
    before = row.night;
  }
  return rows;
}

std::string limits_cell(const TrendSeries& series, const TrendPoint& point) {
  if (!chart_centre(series) || !std::isfinite(point.value)) return "–";
  return fmt::format("{} to {}", value_text(series.figure, point.limits.lower),
                     value_text(series.figure, point.limits.upper));
}

View points_view(const Trend& trend, const TrendSeries& series) {
  View rows = View::array();
  for (const TrendPoint& point : series.points) {
    const bool used = point.left_out.empty();
    rows.push_back(
        {{"night", trend.nights[point.night].name},
         {"release", point.release.empty() ? "–" : point.release},
         {"value", value_text(series.figure, point.value)},
         {"sample", point_sample(series, point)},
         {"limits", limits_cell(series, point)},
         {"cusum", used ? fmt::format("{:.1f} / {:.1f}", point.cusum_high, point.cusum_low)
                        : std::string("–")},
         {"ewma", used ? fmt::format("{:+.2f}", point.ewma) : std::string("–")},
         {"marks", used ? marks_text(point) : "left out: " + point.left_out}});
  }
  return rows;
}

View looks_view(const TrendSeries& series) {
  View rows = View::array();
  for (const analysis::TrendLook& look : series.looks) {
    std::string text = fmt::format("{} ({}): Mann-Kendall p = {}", look.stretch,
                                   analysis::counted(look.nights, "night"), p_cell(look.kendall.p));
    if (look.sen) {
      const bool share = unit_of(series.figure).empty();
      text +=
          fmt::format(", Sen’s slope {:+.2g}{} a night", (share ? 100.0 : 1.0) * look.sen->slope,
                      share                                  ? " points"
                      : series.figure == Figure::alarms      ? " per hour"
                      : series.figure == Figure::temperature ? " °C"
                                                             : " ms");
    }
    if (look.laplace) text += fmt::format(", Laplace p = {}", p_cell(look.laplace->p));
    rows.push_back(text);
  }
  return rows;
}

std::string limits_kind(Figure figure) {
  if (figure < Figure::alarms) return "p chart, exact binomial limits";
  if (figure == Figure::alarms) return "u chart, exact Poisson limits";
  return "individuals chart, limits from the moving range";
}

View series_view(const Trend& trend, std::size_t place) {
  const TrendSeries& series = trend.series[place];
  const auto left_out = static_cast<std::uint64_t>(std::ranges::count_if(
      series.points, [](const TrendPoint& point) { return !point.left_out.empty(); }));
  std::string caption = fmt::format("n = {}", analysis::counted(series.points.size(), "night"));
  if (left_out > 0) caption += fmt::format(", {} of them left out", left_out);
  if (chart_centre(series)) {
    caption += fmt::format("; {}; baseline: {}", limits_kind(series.figure), series.baseline);
  }
  return {{"number", place},
          {"title", series_title(trend, series) + series_place(trend, series)},
          {"caption", caption + "."},
          {"figure", to_text(series.figure)},
          {"looks", looks_view(series)},
          {"points", points_view(trend, series)}};
}

/// Kinds of wrong answers that never happened need no chart.
bool is_shown(const TrendSeries& series) {
  if (series.figure != Figure::false_responses && series.figure != Figure::confusions) return true;
  return std::ranges::any_of(series.points,
                             [](const TrendPoint& point) { return point.counts.x > 0; });
}

View hours_view(const Trend& trend, std::size_t place) {
  const analysis::AlarmHours& all = trend.hours[place];
  View rows = View::array();
  bool any_named = false;
  for (std::size_t i = 0; i < all.hours.size(); ++i) {
    const std::size_t hour = (i + 12) % all.hours.size();  // a night goes from noon to noon
    const analysis::AlarmHours::Hour& one = all.hours[hour];
    if (one.quiet_hours <= 0.0) continue;
    any_named = any_named || one.named;
    rows.push_back({{"hour", fmt::format("{:02}:00", hour)},
                    {"incidents", one.incidents},
                    {"quiet", analysis::hours_text(one.quiet_hours)},
                    {"nights", one.nights},
                    {"p", p_cell(one.p)},
                    {"named", one.named}});
  }
  return {{"number", place},
          {"title", fmt::format("{}’s false alarms {}", all.unit,
                                any_named ? "gather at an hour" : "by hour of the day")},
          {"rows", rows}};
}

/// One device, or the tapper, with all that is followed of it.
View subject_view(const Trend& trend, const std::string& unit) {
  View series = View::array();
  for (std::size_t i = 0; i < trend.series.size(); ++i) {
    if (trend.series[i].unit == unit && is_shown(trend.series[i])) {
      series.push_back(series_view(trend, i));
    }
  }
  View hours = View::array();
  for (std::size_t i = 0; i < trend.hours.size(); ++i) {
    if (trend.hours[i].unit == unit) hours.push_back(hours_view(trend, i));
  }
  return {{"name", unit.empty() ? std::string("The tapper itself") : unit},
          {"tapper", unit.empty()},
          {"series", series},
          {"hours", hours}};
}

View subjects_view(const Trend& trend) {
  std::vector<std::string> units;
  for (const TrendSeries& series : trend.series) {
    if (std::ranges::count(units, series.unit) == 0) units.push_back(series.unit);
  }
  std::stable_partition(units.begin(), units.end(),
                        [](const std::string& unit) { return !unit.empty(); });
  View subjects = View::array();
  for (const std::string& unit : units) subjects.push_back(subject_view(trend, unit));
  return subjects;
}

View tests_view(const Trend& trend) {
  View rows = View::array();
  for (const analysis::TrendTest& test : trend.tests) {
    rows.push_back({{"of", tested_series(trend, test)},
                    {"what", test.what},
                    {"test", test.test},
                    {"round", test.round},
                    {"p", p_cell(test.p)},
                    {"adjusted", p_cell(test.p_adjusted)},
                    {"named", test.named}});
  }
  return rows;
}

/// Lines across a chart: where releases change, where a named change begins.
View lines_of(const TrendSeries& series) {
  View lines = View::array();
  const auto add = [&](std::size_t place, const std::string& text) {
    const double before = static_cast<double>(series.points[place].night) - 0.5;
    lines.push_back({{"x", before}, {"text", printable_line(text)}});
  };
  for (std::size_t i = 1; i < series.points.size(); ++i) {
    if (series.points[i].release != series.points[i - 1].release) {
      add(i, "release " + series.points[i].release);
    }
  }
  for (const std::size_t step : series.steps) add(step, "step");
  for (const std::size_t drift : series.drifts) add(drift, "drifts from here");
  return lines;
}

View series_chart(const Trend& trend, const TrendSeries& series) {
  View points = View::array();
  const bool has_limits = chart_centre(series).has_value();
  for (const TrendPoint& point : series.points) {
    if (!std::isfinite(point.value)) continue;
    const std::string sample = point_sample(series, point);
    const std::string marks = marks_text(point);
    points.push_back(
        {{"x", point.night},
         {"y", plotted(point.value)},
         {"low", point.interval ? plotted(point.interval->lower) : View(nullptr)},
         {"high", point.interval ? plotted(point.interval->upper) : View(nullptr)},
         {"limit_low", has_limits ? plotted(point.limits.lower) : View(nullptr)},
         {"limit_high", has_limits ? plotted(point.limits.upper) : View(nullptr)},
         {"left_out", !point.left_out.empty()},
         {"marks", marks},
         {"text", printable_line(fmt::format(
                      "{}: {}{}{}{}", trend.nights[point.night].name,
                      value_text(series.figure, point.value),
                      sample.empty() ? "" : " (" + sample + ")", marks.empty() ? "" : "; " + marks,
                      point.left_out.empty() ? "" : "; left out: " + point.left_out))}});
  }
  const auto centre = chart_centre(series);
  return {{"share", unit_of(series.figure).empty()},
          {"axis", fmt::format("{}{}", to_text(series.figure),
                               series.figure == Figure::alarms        ? " per hour"
                               : series.figure == Figure::temperature ? ", °C"
                               : unit_of(series.figure) == "ms"       ? ", ms"
                                                                      : "")},
          {"centre", centre ? plotted(*centre) : View(nullptr)},
          {"lines", lines_of(series)},
          {"points", points}};
}

View hours_chart(const analysis::AlarmHours& all) {
  View bars = View::array();
  double total = 0.0;
  double quiet = 0.0;
  for (std::size_t i = 0; i < all.hours.size(); ++i) {
    const std::size_t hour = (i + 12) % all.hours.size();
    const analysis::AlarmHours::Hour& one = all.hours[hour];
    if (one.quiet_hours <= 0.0) continue;
    total += static_cast<double>(one.incidents);
    quiet += one.quiet_hours;
    bars.push_back({{"hour", fmt::format("{:02}", hour)},
                    {"rate", plotted(static_cast<double>(one.incidents) / one.quiet_hours)},
                    {"named", one.named},
                    {"text", fmt::format("{:02}:00: {} in {}", hour, one.incidents,
                                         analysis::hours_text(one.quiet_hours))}});
  }
  return {{"bars", bars}, {"even", quiet > 0.0 ? plotted(total / quiet) : View(nullptr)}};
}

View charts_view(const Trend& trend) {
  View nights = View::array();
  for (const analysis::TrendNight& night : trend.nights) {
    nights.push_back(night.name.size() > 5 ? night.name.substr(5) : night.name);
  }
  View series = View::array();
  for (const TrendSeries& one : trend.series) series.push_back(series_chart(trend, one));
  View hours = View::array();
  for (const analysis::AlarmHours& one : trend.hours) hours.push_back(hours_chart(one));
  return {{"nights", nights}, {"series", series}, {"hours", hours}};
}

/// Each once: "oak counter, granite slab".
template <typename Name>
std::string each_once(const Trend& trend, Name name) {
  std::set<std::string> names;
  for (const analysis::TrendNight& night : trend.nights) {
    if (!night.missing) names.insert(name(night.run));
  }
  std::string text;
  for (const std::string& one : names) text += (text.empty() ? "" : ", ") + one;
  return text;
}

std::string span_text(const Trend& trend) {
  if (trend.nights.empty()) return {};
  return fmt::format("{} to {}", trend.nights.front().date, trend.nights.back().date);
}

}  // namespace

std::string trend_page(const Trend& trend) {
  const bool any = !trend.findings.empty();
  const View view{
      {"title", any ? analysis::counted(trend.findings.size(), "finding") : "Nothing stands out"},
      {"mark", any ? "fail" : "pass"},
      {"simulated", trend.simulated},
      {"headline", trend.headline},
      {"span", span_text(trend)},
      {"alpha", analysis::limit_text(trend.settings.alpha, "")},
      {"tests_total", trend.tests.size()},
      {"any_findings", any},
      {"findings", findings_view(trend)},
      {"nights", nights_view(trend)},
      {"subjects", subjects_view(trend)},
      {"tests", tests_view(trend)},
      {"remarks", trend.remarks},
      {"least_nights", trend.settings.least_nights},
      {"runs", trend.runs()},
      {"missing", trend.missing_nights()},
      {"scenarios", each_once(trend, [](const auto& run) { return run.scenario; })},
      {"rigs", each_once(trend, [](const auto& run) { return run.rig; })},
      {"surfaces", each_once(trend, [](const auto& run) { return run.surface; })},
      {"mountings", each_once(trend, [](const auto& run) { return run.mounting; })},
      {"spots", each_once(trend, [](const auto& run) { return run.spot; })}};
  return filled_page(assets::trend_html, "reports/trend.html", view,
                     std::string(assets::charts_js) + std::string(assets::trend_js),
                     charts_view(trend));
}

}  // namespace plexor::report
