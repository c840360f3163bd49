#include "report/comparison.hpp"

#include <fmt/format.h>

#include <nlohmann/json.hpp>
#include <vector>

#include "analysis/number_text.hpp"
#include "report/comparison_cells.hpp"
#include "report/json_values.hpp"
#include "report/layout.hpp"
#include "report/text.hpp"

namespace plexor::report {

namespace {

using analysis::ComparedFigure;
using analysis::Comparison;
using Json = nlohmann::ordered_json;

std::string figures_table(const Comparison& comparison) {
  std::vector<std::vector<std::string>> rows{
      {"figure", "before", "now", "change",
       analysis::limit_text(comparison.margins.confidence, "") + " interval", "verdict"}};
  for (const ComparedFigure& one : comparison.figures) {
    rows.push_back({printable_line(one.device) + ", " + figure_cell(one), value_cell(one, one.base),
                    value_cell(one, one.candidate), change_cell(one.unit, one.change),
                    interval_cell(one.unit, one.interval), std::string(to_text(one.relation))});
  }
  return table(rows);
}

/// "latency p95" etc. of each device, for who wants more than one shift.
std::string quantiles_table(const Comparison& comparison) {
  std::vector<std::vector<std::string>> rows{
      {"latency", "before", "now", "change",
       analysis::limit_text(comparison.margins.confidence, "") + " interval"}};
  for (const analysis::ComparedLatencies& device : comparison.latencies) {
    for (const analysis::ComparedQuantile& one : device.quantiles) {
      rows.push_back({printable_line(device.device) + ", " + quantile_name(one.p),
                      latency_cell(one.base), latency_cell(one.candidate),
                      change_cell("ms", one.change.estimate),
                      interval_cell("ms", one.change.interval)});
    }
  }
  return table(rows);
}

/// What the reader must know before believing the rest.
std::string circumstances(const Comparison& comparison, Style style) {
  std::string out = wrapped(
      comparison.paired
          ? "The same taps in both, paired trial by trial: Tango's interval, McNemar's exact test."
          : "Other taps in each, not paired: Newcombe's interval, Boschloo's exact test.",
      0, style.width);
  for (const analysis::SettingDifference& one : comparison.differences) {
    out += wrapped("differs: " + printable_line(in_words(one)), 0, style.width);
  }
  for (const std::string& one : comparison.reservations) {
    out += wrapped("reservation: " + printable_line(one), 0, style.width);
  }
  out += wrapped(
      "Latency: medians, and the shift of the whole distribution. Single rhythms, and figures "
      "without a margin, can only speak against a release.",
      0, style.width);
  if (!comparison.margins.given) {
    out += wrapped("Usual margins: the scenario has no [compare].", 0, style.width);
  }
  return out;
}

Json quantiles_json(const analysis::ComparedLatencies& device) {
  Json quantiles = Json::array();
  for (const analysis::ComparedQuantile& one : device.quantiles) {
    quantiles.push_back({{"p", number(one.p)},
                         {"base", optional_number(one.base)},
                         {"candidate", optional_number(one.candidate)},
                         {"change", optional_number(one.change.estimate)},
                         {"lower", number(one.change.interval.lower)},
                         {"upper", number(one.change.interval.upper)},
                         {"method", one.change.interval.method}});
  }
  return {{"device", device.device}, {"quantiles_ms", quantiles}};
}

Json figure_json(const ComparedFigure& one) {
  return {{"device", one.device},
          {"figure", one.figure},
          {"rhythm", text_or_null(one.rhythm)},
          {"unit", one.unit},
          {"base", optional_number(one.base)},
          {"base_n", one.base_n},
          {"candidate", optional_number(one.candidate)},
          {"candidate_n", one.candidate_n},
          {"change", optional_number(one.change)},
          {"lower", number(one.interval.lower)},
          {"upper", number(one.interval.upper)},
          {"confidence", number(one.interval.confidence)},
          {"method", one.interval.method},
          {"margin", optional_number(one.margin)},
          {"p_worse", number(one.p_worse)},
          {"p_worse_adjusted", number(one.p_worse_adjusted)},
          {"p_better", number(one.p_better)},
          {"test", one.test},
          {"decides", one.decides},
          {"verdict", to_text(one.relation)},
          {"reason", one.reason}};
}

}  // namespace

std::string comparison_text(const Comparison& comparison, Style style) {
  std::string out = wrapped(
      fmt::format("{}: {}", to_text(comparison.overall), printable_line(comparison.headline)), 0,
      style.width);
  out += "\n" + figures_table(comparison) + "\n" + circumstances(comparison, style) + "\n";
  for (const ComparedFigure& one : comparison.figures) {
    if (one.decides || one.relation == analysis::Relation::worse) {
      out += wrapped(printable_line(one.reason), 2, style.width);
    }
  }
  return out + "\n" + quantiles_table(comparison);
}

std::string comparison_json(const Comparison& comparison) {
  Json json{{"format", comparison_format},
            {"verdict", to_text(comparison.overall)},
            {"headline", comparison.headline},
            {"base", {{"version", comparison.base_version}, {"runs", comparison.base_runs}}},
            {"candidate",
             {{"version", comparison.candidate_version}, {"runs", comparison.candidate_runs}}},
            {"paired", comparison.paired},
            {"margins",
             {{"detection", comparison.margins.detection},
              {"latency_ms", comparison.margins.latency_ms},
              {"alarm_ratio", optional_number(comparison.margins.alarm_ratio)},
              {"confidence", number(comparison.margins.confidence)},
              {"given", comparison.margins.given}}},
            {"differences", Json::array()},
            {"reservations", comparison.reservations},
            {"figures", Json::array()},
            {"latencies", Json::array()}};
  for (const auto& one : comparison.differences) json["differences"].push_back(in_words(one));
  for (const ComparedFigure& one : comparison.figures) json["figures"].push_back(figure_json(one));
  for (const auto& one : comparison.latencies) json["latencies"].push_back(quantiles_json(one));
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace plexor::report
