#include "report/json_soak.hpp"

#include "report/json_values.hpp"
#include "report/soak_text.hpp"

namespace plexor::report {

namespace {

using Json = nlohmann::ordered_json;

Json hour_json(const analysis::RunHour& hour) {
  Json devices = Json::array();
  for (const analysis::DeviceHour& device : hour.devices) {
    devices.push_back({{"detection", proportion_json(device.detection)},
                       {"median_ms", optional_number(device.median_ms)},
                       {"false_alarms", alarms_json(device.false_alarms)},
                       {"disturbed_incidents", device.disturbed_incidents}});
  }
  return {{"from_s", number(hour.from_s)},
          {"to_s", number(hour.to_s)},
          {"trials", hour.trials},
          {"transit_ms", optional_number(hour.transit_ms)},
          {"coil_c", optional_number(hour.coil_c)},
          {"devices", devices}};
}

Json drift_json(const analysis::Drift& drift) {
  return {{"device", text_or_null(drift.device)},
          {"figure", drift.figure},
          {"unit", unit_key(drift.unit)},
          {"test", drift.test},
          {"n", drift.n},
          {"z", number(drift.z)},
          {"p", number(drift.p)},
          {"adjusted_p", number(drift.adjusted_p)},
          {"from", number(drift.from)},
          {"to", number(drift.to)},
          {"found", drift.found},
          {"word", drift.word}};
}

}  // namespace

nlohmann::ordered_json hours_of_day_json(const analysis::Results& results,
                                         const analysis::DeviceResult& device) {
  if (!knows_hours_of_day(results)) return nullptr;
  Json list = Json::array();
  for (const analysis::HourOfDay& hour : device.by_hour_of_day) {
    list.push_back({{"quiet_h", number(hour.quiet_hours)}, {"incidents", hour.incidents}});
  }
  return list;
}

nlohmann::ordered_json holes_json(const analysis::Results& results) {
  Json list = Json::array();
  for (const analysis::Hole& hole : results.holes) {
    list.push_back({{"cause", hole_cause(hole.cause)},
                    {"begins_s", number(hole.begins_s)},
                    {"length_s", optional_number(hole.length_s)},
                    {"after_local", text_or_null(local_time_before(results, hole.begins_s))}});
  }
  return list;
}

nlohmann::ordered_json disturbances_json(const analysis::Results& results) {
  const analysis::Disturbances& found = results.disturbances;
  Json names = Json::array();
  for (const analysis::DisturbedBy& one : found.by_name) {
    names.push_back({{"name", one.name},
                     {"by", text_or_null(one.by)},
                     {"marks", one.marks},
                     {"quiet_h", number(one.quiet_h)},
                     {"incidents", one.incidents}});
  }
  Json marks = Json::array();
  for (const analysis::DisturbanceMark& mark : found.marks) {
    marks.push_back(
        {{"from_s", number(mark.from_s)}, {"to_s", number(mark.to_s)}, {"name", mark.name}});
  }
  return {{"by_name", names},
          {"marks", marks},
          {"quiet_h", number(found.quiet_h)},
          {"cut_short", found.cut_short}};
}

nlohmann::ordered_json power_cycles_json(const analysis::Results& results) {
  Json list = Json::array();
  for (const analysis::PowerCycled& one : results.power_cycles) {
    list.push_back({{"device", one.device}, {"at_s", number(one.at_s)}, {"reason", one.reason}});
  }
  return list;
}

nlohmann::ordered_json tapper_json(const analysis::Results& results) {
  return {{"transit_ms", optional_number(results.tapper.transit_ms)},
          {"transit_sd_ms", optional_number(results.tapper.transit_sd_ms)},
          {"coil_c", optional_number(results.tapper.coil_c)}};
}

nlohmann::ordered_json soak_json(const analysis::Results& results) {
  if (!results.soak) return nullptr;
  Json hours = Json::array();
  for (const analysis::RunHour& hour : results.soak->hours) hours.push_back(hour_json(hour));
  Json drifts = Json::array();
  for (const analysis::Drift& drift : results.soak->drifts) drifts.push_back(drift_json(drift));
  return {{"drift", results.soak->drift_word}, {"drifts", drifts}, {"hours", hours}};
}

}  // namespace plexor::report
