#include "rig/read_calibration.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "base/calendar.hpp"
#include "rig/rig_file.hpp"

namespace plexor::rig {

namespace {

using base::TableReader;

constexpr TableReader::Range coil_range_c{-20.0, 200.0};

Repeatability read_repeatability(TableReader& entry) {
  return {entry.has("taps") ? entry.whole("taps", 1, 1'000'000) : 0,
          entry.duration_or("transit_sd_ms", {0.0, 100.0}, {}),
          entry.number_or("strike_sd_m_s", {0.0, 20.0}, 0.0)};
}

std::vector<CalibrationPoint> read_points(TableReader& reader) {
  std::vector<CalibrationPoint> points;
  for (TableReader& entry : reader.tables("points")) {
    const CalibrationPoint point{
        entry.duration("on_ms", {0.1, 1000.0}),
        base::strike_speed_from_m_s(entry.number("strike_m_s", {0.01, 20.0})),
        entry.duration("transit_ms", {0.1, 1000.0}), read_repeatability(entry)};
    entry.finish();
    if (!points.empty() && point.on_time <= points.back().on_time) {
      entry.fail("on_ms", "a pulse no longer than in the point before",
                 "points in rising on_ms and strike_m_s");
    }
    if (!points.empty() && point.strike <= points.back().strike) {
      entry.fail("strike_m_s", "a strike no faster than in the point before",
                 "points in rising on_ms and strike_m_s",
                 "leave out points above the first re-strike");
    }
    points.push_back(point);
  }
  if (points.size() < 2) {
    reader.fail("points", fmt::format("{} points", points.size()), "two or more",
                "calibrate more drive levels");
  }
  return points;
}

std::int64_t thousandths(double value) { return std::llround(value * 1e3); }

CalibrationCurve read_curve(TableReader& reader) {
  CalibrationCurve curve;
  curve.conditions.coil_mdegc = thousandths(reader.number("coil_c", coil_range_c));
  curve.conditions.supply_mv = thousandths(reader.number("supply_v", supply_range_v));
  curve.points = read_points(reader);
  reader.finish();
  return curve;
}

/// Sorts the curves, and sees to it that they can be used together.
void check_curves(TableReader& reader, Calibration& calibration) {
  auto& curves = calibration.curves;
  if (curves.empty()) {
    reader.fail("curve", "no curve", "one or more tables [[calibration.curve]]",
                "measure one with \"plexor calibrate\"");
  }
  const auto key = [](const CalibrationCurve& curve) {
    return std::pair{curve.conditions.supply_mv, curve.conditions.coil_mdegc};
  };
  std::sort(curves.begin(), curves.end(),
            [&](const auto& a, const auto& b) { return key(a) < key(b); });
  const auto twin = std::adjacent_find(
      curves.begin(), curves.end(), [&](const auto& a, const auto& b) { return key(a) == key(b); });
  if (twin != curves.end()) {
    reader.fail("curve", "two curves of the same coil_c and supply_v",
                "one curve for each set of conditions");
  }
  if (calibration.slowest() >= calibration.fastest()) {
    reader.fail("curve", "curves without a strike speed that all of them reach",
                "curves that overlap in strike_m_s");
  }
}

}  // namespace

Calibration read_calibration(TableReader reader) {
  Calibration calibration;
  calibration.date = reader.text("date");
  if (calibration.date.size() != 10 || !base::day_of(calibration.date)) {
    reader.fail("date", fmt::format("the text \"{:.60}\"", calibration.date),
                "a day of the calendar as \"YYYY-MM-DD\"");
  }
  calibration.transit_sd = reader.duration("transit_sd_ms", {0.0, 100.0});
  for (TableReader& curve : reader.tables("curve")) {
    calibration.curves.push_back(read_curve(curve));
  }
  check_curves(reader, calibration);
  reader.finish();
  return calibration;
}

Calibration parse_calibration(std::string_view text, const std::string& file_name) {
  TableReader file = TableReader::parse(text, file_name);
  file.refuse_newer_format(format_version);
  Calibration calibration = read_calibration(file.table("calibration"));
  file.finish();
  return calibration;
}

namespace {

std::string to_toml(const CalibrationPoint& point) {
  std::string row = fmt::format("  {{ on_ms = {}, strike_m_s = {:.6f}, transit_ms = {:.6f}",
                                base::to_ms(point.on_time), base::to_m_s(point.strike),
                                base::to_ms(point.transit));
  const Repeatability& repeat = point.repeatability;
  if (repeat.taps > 0) {
    row += fmt::format(", taps = {}, transit_sd_ms = {:.3f}, strike_sd_m_s = {:.4f}", repeat.taps,
                       base::to_ms(repeat.transit_sd), repeat.strike_sd_m_s);
  }
  return row + " },\n";
}

}  // namespace

std::string to_toml(const Calibration& calibration) {
  std::string text = fmt::format(
      "# Drive against strike speed and transit, below the first re-strike.\nformat = {}\n\n"
      "[calibration]\ndate = \"{}\"\ntransit_sd_ms = {:.6f}\n",
      format_version, calibration.date, base::to_ms(calibration.transit_sd));
  for (const CalibrationCurve& curve : calibration.curves) {
    text += fmt::format("\n[[calibration.curve]]\ncoil_c = {:.3f}\nsupply_v = {:.3f}\npoints = [\n",
                        static_cast<double>(curve.conditions.coil_mdegc) / 1e3,
                        static_cast<double>(curve.conditions.supply_mv) / 1e3);
    for (const CalibrationPoint& point : curve.points) text += to_toml(point);
    text += "]\n";
  }
  return text;
}

}  // namespace plexor::rig
