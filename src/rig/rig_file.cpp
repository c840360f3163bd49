#include "rig/rig_file.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <chrono>
#include <cmath>
#include <map>
#include <set>

#include "base/toml_reader.hpp"
#include "rig/read_parts.hpp"

namespace plexor::rig {

namespace {

using base::TableReader;

constexpr std::size_t most_devices = 16;

// Wide ranges that catch a slip of unit; what a tapper may do is for safety::check_limits.
constexpr TableReader::Range supply_range_v{1.0, 60.0};  // extra-low voltage, IEC 61140
constexpr TableReader::Range coil_range_c{-20.0, 200.0};
constexpr TableReader::Range thermal_resistance_k_w{0.01, 1000.0};

void read_rig(TableReader reader, RigFile& rig) {
  rig.name = line_of_text(reader, "name", longest_name);
  const std::string kind = reader.choice("kind", {"simulated", "lines"});
  rig.kind = kind == "lines" ? RigKind::lines : RigKind::simulated;
  reader.finish();
}

Setting read_setting(TableReader reader) {
  Setting setting{line_of_text(reader, "surface", longest_description),
                  line_of_text(reader, "spot", longest_description),
                  line_of_text(reader, "mounting", longest_description)};
  reader.finish();
  return setting;
}

safety::CoilModel read_coil(TableReader reader) {
  safety::CoilModel coil;
  coil.supply_v = reader.number("supply_v", supply_range_v);
  coil.resistance_20c_ohm = reader.number("resistance_ohm", {0.1, 10'000.0});
  coil.winding_j_k = reader.number("winding_j_k", {0.01, 10'000.0});
  coil.body_j_k = reader.number("body_j_k", {0.01, 100'000.0});
  coil.winding_to_body_k_w = reader.number("winding_to_body_k_w", thermal_resistance_k_w);
  coil.body_to_air_k_w = reader.number("body_to_air_k_w", thermal_resistance_k_w);
  coil.ambient_c = reader.number("ambient_c", {-20.0, 60.0});
  reader.finish();
  return coil;
}

std::vector<std::pair<std::string, safety::Wire>> wires_of(const safety::Wiring& wiring) {
  std::vector<std::pair<std::string, safety::Wire>> wires{
      {"gate", wiring.gate},     {"stop_loop", wiring.stop_loop},
      {"lid", wiring.lid},       {"coil_sense", wiring.coil_sense},
      {"enable", wiring.enable}, {"watchdog", wiring.watchdog}};
  if (wiring.contact) wires.emplace_back("contact", *wiring.contact);
  return wires;
}

void refuse_shared_lines(const TableReader& reader, const safety::Wiring& wiring) {
  std::map<std::uint32_t, std::string> taken;
  for (const auto& [key, wire] : wires_of(wiring)) {
    const auto [other, is_free] = taken.emplace(wire.offset, key);
    if (is_free) continue;
    reader.fail(key, fmt::format("line {}, which \"{}\" has already", wire.offset, other->second),
                "a line of its own for each");
  }
}

safety::Wiring read_wiring(TableReader reader, ContactKind contact) {
  safety::Wiring wiring;
  wiring.chip = line_of_text(reader, "chip", longest_description);
  wiring.gate = read_wire(reader, "gate");
  wiring.stop_loop = read_wire(reader, "stop_loop");
  wiring.lid = read_wire(reader, "lid");
  wiring.coil_sense = read_wire(reader, "coil_sense");
  wiring.enable = read_wire(reader, "enable");
  wiring.watchdog = read_wire(reader, "watchdog");
  if (contact == ContactKind::tip_switch) wiring.contact = read_wire(reader, "contact");
  reader.finish();
  refuse_shared_lines(reader, wiring);
  return wiring;
}

safety::Tiers read_tiers(TableReader& file, const safety::Limits& limits) {
  safety::Tiers tiers;
  TableReader warden = file.table("warden");
  tiers.heartbeat_age = warden.duration("heartbeat_age_ms", {1.0, 10'000.0});
  tiers.longest_pulse = warden.duration("longest_pulse_ms", {0.1, 10'000.0});
  warden.finish();
  TableReader outside = file.table("outside");
  tiers.one_shot = outside.duration("one_shot_ms", {1.0, 10'000.0});
  tiers.longest_on = outside.duration("longest_on_ms", {0.1, 10'000.0});
  outside.finish();
  if (const auto refusal = safety::check_tiers(limits, tiers)) {
    throw base::InputError(warden.place(), refusal->reason,
                           "three tiers, each above the one before: plan, warden, outside",
                           "change the named value, and the hardware with it (rig/wiring.md)");
  }
  return tiers;
}

void read_limits(TableReader reader, safety::Limits& limits) {
  limits.max_pulse = reader.duration("max_pulse_ms", {0.1, 10'000.0});
  limits.min_rest = reader.duration("min_rest_ms", {1.0, 60'000.0});
  limits.duty_percent = reader.number("duty_percent", {0.01, 100.0});
  limits.duty_span = reader.duration("duty_span_s", {1.0, 86'400.0});
  limits.max_on_in_span = reader.duration("max_on_in_span_s", {0.001, 86'400.0});
  limits.max_coil_c = reader.number("max_coil_c", {0.0, 300.0});
  limits.coil_margin_k = reader.number("coil_margin_k", {0.0, 200.0});
  limits.max_energy_j = reader.number("max_energy_mj", {0.01, 100'000.0}) * 1e-3;
  limits.max_tip_pressure_pa = reader.number("max_tip_pressure_n_cm2", {0.1, 10'000.0}) * 1e4;
  reader.finish();
  if (const auto refusal = safety::check_limits(limits)) {
    throw base::InputError(reader.place(),
                           fmt::format("a limit that cannot stand in \"{}\" ({}: {})",
                                       reader.name(), refusal->limit, refusal->reason),
                           "limits that agree with each other, below the ceilings of this build",
                           "change the named value");
  }
}

void read_tapper(TableReader reader, RigFile& rig) {
  rig.limits.moving_mass_kg = reader.number("moving_mass_g", {0.1, 10'000.0}) * 1e-3;
  rig.limits.tip_diameter_m = reader.number("tip_diameter_mm", {0.1, 200.0}) * 1e-3;
  rig.limits.seated_force_n = reader.number("seated_force_n", {0.01, 10'000.0});
  rig.rated_taps =
      reader.has("rated_taps")
          ? static_cast<std::uint64_t>(reader.whole("rated_taps", 1, 1'000'000'000'000))
          : 0;
  TableReader coil = reader.table("coil");
  if (coil.has("sensor_file"))
    rig.coil_sensor = line_of_text(coil, "sensor_file", longest_description);
  if (coil.has("supply_alarm_file")) {
    rig.supply_alarm = line_of_text(coil, "supply_alarm_file", longest_description);
  }
  rig.coil = read_coil(std::move(coil));
  read_limits(reader.table("limits"), rig.limits);
  reader.finish();
}

ContactKind read_contact(TableReader reader) {
  const std::string kind = reader.choice("kind", {"none", "tip-switch"});
  reader.finish();
  return kind == "none" ? ContactKind::none : ContactKind::tip_switch;
}

bool is_calendar_day(const std::string& text) {
  const auto digits = [&text](std::size_t from, std::size_t count) {
    int value = -1;
    const char* end = text.data() + from + count;
    const auto [stop, error] = std::from_chars(text.data() + from, end, value);
    return error == std::errc{} && stop == end ? value : -1;
  };
  if (text.size() != 10 || text[4] != '-' || text[7] != '-') return false;
  const int year = digits(0, 4);
  const int month = digits(5, 2);
  const int day = digits(8, 2);
  return year >= 1970 && month > 0 && day > 0 &&
         std::chrono::year_month_day{std::chrono::year{year},
                                     std::chrono::month{static_cast<unsigned>(month)},
                                     std::chrono::day{static_cast<unsigned>(day)}}
             .ok();
}

std::vector<CalibrationPoint> read_points(TableReader& reader) {
  std::vector<CalibrationPoint> points;
  for (TableReader& entry : reader.tables("point")) {
    const CalibrationPoint point{
        entry.duration("on_ms", {0.1, 1000.0}),
        base::strike_speed_from_m_s(entry.number("strike_m_s", {0.01, 20.0})),
        entry.duration("transit_ms", {0.1, 1000.0})};
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
    reader.fail("point", fmt::format("{} points", points.size()), "two or more",
                "add [[calibration.point]] tables");
  }
  return points;
}

Calibration read_calibration(TableReader reader) {
  Calibration calibration;
  calibration.date = reader.text("date");
  if (!is_calendar_day(calibration.date)) {
    reader.fail("date", fmt::format("the text \"{:.60}\"", calibration.date),
                "a day of the calendar as \"YYYY-MM-DD\"");
  }
  calibration.coil_temperature_c = reader.number("coil_temperature_c", coil_range_c);
  calibration.supply_v = reader.number("supply_v", supply_range_v);
  calibration.transit_sd = reader.duration("transit_sd_ms", {0.0, 100.0});
  calibration.points = read_points(reader);
  reader.finish();
  return calibration;
}

std::vector<Device> read_devices(TableReader& file, RigKind kind) {
  std::vector<Device> devices;
  std::set<std::string> names;
  for (TableReader& entry : file.tables("device")) {
    Device device{line_of_text(entry, "name", longest_name),
                  line_of_text(entry, "version", longest_name),
                  entry.duration_or("line_time_ms", {0.0, 60'000.0}, {}),
                  entry.duration_or("pattern_end_gap_ms", {0.0, 60'000.0}, {})};
    if (kind == RigKind::lines) read_listening(entry, device);
    entry.finish();
    if (!names.insert(device.name).second) {
      entry.fail("name", fmt::format("a second device \"{}\"", device.name),
                 "a name of its own for each device");
    }
    devices.push_back(std::move(device));
  }
  if (devices.empty() || devices.size() > most_devices) {
    file.fail("device", fmt::format("{} devices", devices.size()),
              fmt::format("1 to {} tables [[device]]", most_devices));
  }
  return devices;
}

/// Where a device's listener has no chip of its own, it is on the rig's. What two
/// would share is refused.
void settle_listeners(const TableReader& file, RigFile& rig) {
  std::map<std::string, std::string> taken;
  const auto take = [&](const std::string& what, const std::string& name) {
    const auto [other, is_free] = taken.emplace(what, name);
    if (is_free) return;
    file.fail("device",
              fmt::format("{} of \"{}\", which \"{}\" has already", what, name, other->second),
              "a port or line of its own for each");
  };
  const safety::Wiring& wiring = *rig.wiring;
  for (const auto& [name, wire] : wires_of(wiring)) {
    take(fmt::format("line {} of {}", wire.offset, wiring.chip), name);
  }
  for (Device& device : rig.devices) {
    if (auto* line = std::get_if<LineSettings>(&*device.listener)) {
      if (line->chip.empty()) line->chip = wiring.chip;
      take(fmt::format("line {} of {}", line->wire.offset, line->chip), device.name);
    } else if (const auto& port = std::get<SerialSettings>(*device.listener).port; !port.empty()) {
      take("port " + port, device.name);
    }
  }
}

/// Another supply gives other strikes and transits than those that were measured.
void check_supply(const TableReader& calibration, const RigFile& rig) {
  constexpr double tolerance = 0.05;
  const double measured_v = rig.calibration->supply_v;
  if (std::abs(measured_v - rig.coil.supply_v) <= tolerance * rig.coil.supply_v) return;
  calibration.fail("supply_v", fmt::format("{} V", measured_v),
                   fmt::format("the {} V of \"tapper.coil\", within 5 %", rig.coil.supply_v),
                   "calibrate at the supply that the rig has");
}

}  // namespace

RigFile parse_rig(std::string_view text, const std::string& file_name) {
  TableReader file = TableReader::parse(text, file_name);
  file.refuse_newer_format(format_version);
  RigFile rig;
  read_rig(file.table("rig"), rig);
  rig.setting = read_setting(file.table("setting"));
  read_tapper(file.table("tapper"), rig);
  rig.contact = read_contact(file.table("contact"));
  if (auto calibration = file.table_if("calibration")) {
    rig.calibration = read_calibration(*calibration);
    check_supply(*calibration, rig);
  }
  rig.devices = read_devices(file, rig.kind);
  if (rig.kind == RigKind::lines) {
    rig.wiring = read_wiring(file.table("lines"), rig.contact);
    rig.tiers = read_tiers(file, rig.limits);
    settle_listeners(file, rig);
  }
  (void)file.has("simulated");  // src/virtual reads it
  file.finish();
  return rig;
}

std::string_view to_text(ContactKind kind) {
  switch (kind) {
    case ContactKind::none: return "none";
    case ContactKind::tip_switch: return "tip-switch";
  }
  return "unknown";
}

}  // namespace plexor::rig
