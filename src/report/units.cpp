#include "report/units.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <nlohmann/json.hpp>
#include <vector>

#include "analysis/number_text.hpp"
#include "report/comparison_cells.hpp"
#include "report/format.hpp"
#include "report/json_values.hpp"
#include "report/layout.hpp"
#include "report/text.hpp"

namespace plexor::report {

namespace {

using analysis::UnitRow;
using analysis::UnitsTable;
using Json = nlohmann::ordered_json;

std::optional<double> share_of(const UnitRow& row) {
  if (row.hits.n == 0) return std::nullopt;
  return static_cast<double>(row.hits.x) / static_cast<double>(row.hits.n);
}

std::string table_of(const UnitsTable& units) {
  std::vector<std::vector<std::string>> rows{{"unit", "release", "place", "heard", "95 % interval",
                                              "trials", "median", "alarms", "quiet", ""}};
  for (const UnitRow& row : units.units) {
    const auto share = share_of(row);
    rows.push_back({printable_line(row.name), printable_line(row.version),
                    row.positions.empty()
                        ? "–"
                        : printable_line(fmt::format("{}", fmt::join(row.positions, ", "))),
                    share ? quantity(*share, "") : "–",
                    row.hits_interval ? interval_text(*row.hits_interval, "") : "–",
                    count(row.hits.n), latency_cell(row.median_ms), count(row.alarms.count),
                    analysis::hours_text(row.alarms.exposure), row.stands_out ? "STANDS OUT" : ""});
  }
  return table(rows);
}

Json unit_json(const UnitRow& row) {
  return {{"unit", row.name},
          {"version", row.version},
          {"runs", row.runs},
          {"positions", row.positions},
          {"heard", row.hits.x},
          {"trials", row.hits.n},
          {"share", optional_number(share_of(row))},
          {"lower", row.hits_interval ? number(row.hits_interval->lower) : Json(nullptr)},
          {"upper", row.hits_interval ? number(row.hits_interval->upper) : Json(nullptr)},
          {"median_ms", optional_number(row.median_ms)},
          {"false_alarms", row.alarms.count},
          {"quiet_hours", number(row.alarms.exposure)},
          {"detection_p_adjusted", number(row.detection_p)},
          {"alarms_p_adjusted", number(row.alarms_p)},
          {"stands_out", row.stands_out},
          {"reason", row.reason}};
}

}  // namespace

std::string units_text(const UnitsTable& units, Style style) {
  std::string out = wrapped(printable_line(units.headline), 0, style.width);
  out += "\n" + table_of(units) + "\n";
  out += wrapped(units.shared_taps
                     ? "All units heard the same taps: each is held against all, tap by tap."
                     : "The units heard other taps: each is held against the others together.",
                 0, style.width);
  out += wrapped("Judged are the knocks heard and the false alarms; the median latency is shown.",
                 0, style.width);
  for (const analysis::Alikeness& one : units.alikeness) {
    out += wrapped(
        fmt::format(
            "If all had one {}, chance would scatter it as much with p = {:.2g} ({} = {:.2f}, "
            "degrees of freedom: {:g}).",
            one.figure, one.p, one.test, one.statistic, one.degrees),
        0, style.width);
  }
  for (const std::string& reservation : units.reservations) {
    out += wrapped("reservation: " + printable_line(reservation), 0, style.width);
  }
  for (const std::string& remark : units.remarks) {
    out += wrapped("note: " + printable_line(remark), 0, style.width);
  }
  out += "\n";
  for (const UnitRow& row : units.units) out += wrapped(printable_line(row.reason), 2, style.width);
  return out;
}

std::string units_json(const UnitsTable& units) {
  Json json{{"format", units_format},
            {"headline", units.headline},
            {"standing_out", units.standing_out},
            {"shared_taps", units.shared_taps},
            {"confidence", number(units.confidence)},
            {"alikeness", Json::array()},
            {"reservations", units.reservations},
            {"remarks", units.remarks},
            {"units", Json::array()}};
  for (const analysis::Alikeness& one : units.alikeness) {
    json["alikeness"].push_back({{"figure", one.figure},
                                 {"test", one.test},
                                 {"statistic", number(one.statistic)},
                                 {"degrees_of_freedom", number(one.degrees)},
                                 {"p", number(one.p)}});
  }
  for (const UnitRow& row : units.units) json["units"].push_back(unit_json(row));
  return json.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace plexor::report
