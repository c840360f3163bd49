#include "rig/rig_file.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include "base/toml_reader.hpp"
#include "rig/read_calibration.hpp"
#include "rig/read_parts.hpp"

namespace plexor::rig {

namespace {

using base::TableReader;

constexpr std::size_t most_devices = 16;
constexpr std::size_t most_disturbances = 16;

// Wide ranges that catch a slip of unit; what a tapper may do is for safety::check_limits.
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

std::vector<std::pair<std::string, safety::Wire>> wires_of(const RigFile& rig) {
  const safety::Wiring& wiring = rig.wiring.value();
  std::vector<std::pair<std::string, safety::Wire>> wires{
      {"gate", wiring.gate},     {"stop_loop", wiring.stop_loop},
      {"lid", wiring.lid},       {"coil_sense", wiring.coil_sense},
      {"enable", wiring.enable}, {"watchdog", wiring.watchdog}};
  if (wiring.contact) wires.emplace_back("contact", *wiring.contact);
  if (rig.speed_gate) wires.emplace_back("speed_gate", rig.speed_gate->wire);
  for (const DisturbanceLine& one : rig.disturbances) {
    wires.emplace_back(fmt::format("disturbance {}", one.name), one.wire);
  }
  return wires;
}

void refuse_shared_lines(const TableReader& reader, const RigFile& rig) {
  std::map<std::uint32_t, std::string> taken;
  for (const auto& [key, wire] : wires_of(rig)) {
    const auto [other, is_free] = taken.emplace(wire.offset, key);
    if (is_free) continue;
    reader.fail(key, fmt::format("line {}, which \"{}\" has already", wire.offset, other->second),
                "a line of its own for each");
  }
}

SpeedGate read_speed_gate(TableReader reader) {
  const SpeedGate gate{read_wire(reader, "line"), reader.number("flag_mm", {0.2, 20.0}) * 1e-3,
                       reader.number("to_contact_mm", {0.1, 20.0}) * 1e-3};
  reader.finish();
  return gate;
}

std::vector<DisturbanceLine> read_disturbances(TableReader& file) {
  std::vector<DisturbanceLine> found;
  std::set<std::string> names;
  for (TableReader& entry : file.tables("disturbance")) {
    found.push_back({line_of_text(entry, "name", longest_name), read_wire(entry, "line"),
                     entry.duration_or("tail_s", {0.1, 600.0}, usual_disturbance_tail)});
    entry.finish();
    if (!names.insert(found.back().name).second) {
      entry.fail("name", fmt::format("a second disturbance \"{}\"", found.back().name),
                 "a name of its own for each");
    }
  }
  if (found.size() > most_disturbances) {
    file.fail("disturbance", fmt::format("{} disturbances", found.size()),
              fmt::format("at most {}", most_disturbances));
  }
  return found;
}

void read_wiring(TableReader reader, RigFile& rig) {
  safety::Wiring& wiring = rig.wiring.emplace();
  wiring.chip = line_of_text(reader, "chip", longest_description);
  wiring.gate = read_wire(reader, "gate");
  wiring.stop_loop = read_wire(reader, "stop_loop");
  wiring.lid = read_wire(reader, "lid");
  wiring.coil_sense = read_wire(reader, "coil_sense");
  wiring.enable = read_wire(reader, "enable");
  wiring.watchdog = read_wire(reader, "watchdog");
  if (rig.contact.is_sensed()) wiring.contact = read_wire(reader, "contact");
  reader.finish();
  refuse_shared_lines(reader, rig);
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

Contact read_contact(TableReader reader) {
  constexpr base::Duration usual_debounce = std::chrono::milliseconds{2};
  static const std::map<std::string, ContactKind> kinds{{"none", ContactKind::none},
                                                        {"tip-switch", ContactKind::tip_switch},
                                                        {"coil-current", ContactKind::coil_current},
                                                        {"pickup", ContactKind::pickup}};
  const std::string kind = reader.choice("kind", {"none", "tip-switch", "coil-current", "pickup"});
  Contact contact{kinds.at(kind)};
  if (contact.is_sensed()) {
    contact.lag = reader.duration_or("lag_ms", {0.0, 20.0}, {});
    contact.debounce = reader.duration_or("debounce_ms", {0.0, 20.0}, usual_debounce);
  }
  reader.finish();
  return contact;
}

std::vector<Device> read_devices(TableReader& file, RigKind kind) {
  std::vector<Device> devices;
  std::set<std::string> names;
  for (TableReader& entry : file.tables("device")) {
    Device device{line_of_text(entry, "name", longest_name),
                  line_of_text(entry, "version", longest_name),
                  entry.duration_or("line_time_ms", {0.0, 60'000.0}, {}),
                  entry.duration_or("pattern_end_gap_ms", {0.0, 60'000.0}, {}),
                  entry.has("position") ? line_of_text(entry, "position", longest_name) : ""};
    if (entry.has("at_mm")) device.at = entry.surface_point("at_mm");
    if (kind == RigKind::lines) read_listening(entry, device);
    if (auto recovery = entry.table_if("recovery")) {
      device.recovery = read_recovery(std::move(*recovery), kind);
    }
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

/// What each of the rig's own lines is for, by its place.
using TakenLines = std::map<std::string, std::string>;

TakenLines lines_of(const RigFile& rig) {
  TakenLines taken;
  for (const auto& [name, wire] : wires_of(rig)) {
    taken.emplace(place_of(LineSettings{.chip = rig.wiring->chip, .wire = wire}), name);
  }
  return taken;
}

/// A device's power line is driven by what a device does: it must never be one that the coil's
/// power hangs on, or anybody else's.
void take_power_lines(const TableReader& file, const RigFile& rig, TakenLines& taken) {
  for (const Device& device : rig.devices) {
    if (!device.recovery || !device.recovery->power || !device.recovery->power->line) continue;
    const std::string place =
        place_of(LineSettings{.chip = rig.wiring->chip, .wire = *device.recovery->power->line});
    const auto [other, is_free] = taken.emplace(place, "power of " + device.name);
    if (is_free) continue;
    file.fail("device",
              fmt::format("{} for the power of \"{}\", which \"{}\" has already", place,
                          device.name, other->second),
              "a line of its own for each",
              "a device's power must hang on nothing that the rig uses otherwise (rig/wiring.md)");
  }
}

/// Where a device's listener has no chip of its own, it is on the rig's.
void settle_listeners(const TableReader& file, RigFile& rig) {
  TakenLines taken = lines_of(rig);
  take_power_lines(file, rig, taken);
  for (Device& device : rig.devices) {
    for (ListenerSettings& listener : device.listeners) {
      auto* line = std::get_if<LineSettings>(&listener.way);
      if (line == nullptr) continue;
      if (line->chip.empty()) line->chip = rig.wiring->chip;
      if (const auto other = taken.find(place_of(*line)); other != taken.end()) {
        file.fail("device",
                  fmt::format("{} of \"{}\", which \"{}\" has already", other->first, device.name,
                              other->second),
                  "a line of its own for each");
      }
    }
  }
  refuse_shared_ways(file, rig);
}

/// Another supply gives other strikes and transits than those that were measured.
void check_supply(const TableReader& calibration, const RigFile& rig) {
  constexpr double tolerance = 0.05;
  const auto& curves = rig.calibration->curves;  // by rising supply
  const double lowest_v = static_cast<double>(curves.front().conditions.supply_mv) / 1e3;
  const double highest_v = static_cast<double>(curves.back().conditions.supply_mv) / 1e3;
  const double off_v = tolerance * rig.coil.supply_v;
  if (lowest_v - off_v <= rig.coil.supply_v && rig.coil.supply_v <= highest_v + off_v) return;
  throw base::InputError(calibration.place(),
                         fmt::format("a calibration at {} to {} V", lowest_v, highest_v),
                         fmt::format("the {} V of \"tapper.coil\", within 5 %", rig.coil.supply_v),
                         "calibrate at the supply that the rig has");
}

/// The table itself, or the one in the file that it names.
void read_calibration_of(TableReader table, RigFile& rig, const CalibrationFinder& find) {
  if (table.has("file")) {
    const std::string name = line_of_text(table, "file", longest_description);
    table.finish();
    if (!find) table.fail("file", "a calibration file", "the calibration itself, here");
    const CalibrationText other = find(name);
    rig.calibration = parse_calibration(other.text, other.file);
  } else {
    rig.calibration = read_calibration(table);
  }
  check_supply(table, rig);
}

}  // namespace

RigFile parse_rig(std::string_view text, const std::string& file_name,
                  const CalibrationFinder& find) {
  TableReader file = TableReader::parse(text, file_name);
  file.refuse_newer_format(format_version);
  RigFile rig;
  read_rig(file.table("rig"), rig);
  rig.setting = read_setting(file.table("setting"));
  read_tapper(file.table("tapper"), rig);
  rig.contact = read_contact(file.table("contact"));
  if (auto calibration = file.table_if("calibration")) {
    read_calibration_of(*calibration, rig, find);
  }
  rig.devices = read_devices(file, rig.kind);
  rig.channels = read_channels(file, rig.devices, rig.kind);
  if (rig.kind == RigKind::lines) {
    if (auto gate = file.table_if("speed_gate")) rig.speed_gate = read_speed_gate(*gate);
    rig.disturbances = read_disturbances(file);
    read_wiring(file.table("lines"), rig);
    rig.tiers = read_tiers(file, rig.limits);
    settle_listeners(file, rig);
  }
  if (auto publish = file.table_if("publish")) rig.publish = read_publish(std::move(*publish));
  if (auto post = file.table_if("post")) rig.post = read_post(std::move(*post));
  refuse_own_publications(file, rig);
  (void)file.has("simulated");  // src/virtual reads it
  file.finish();
  return rig;
}

std::string place_of(const SampleSource& source) {
  const auto* file = std::get_if<SampleFile>(&source.way);
  return file != nullptr ? "file " + file->path
                         : place_of(Way{std::get<SerialSettings>(source.way)});
}

const ListenerSettings* asked_way_of(const Device& device) {
  const auto serial =
      std::find_if(device.listeners.begin(), device.listeners.end(),
                   [](const auto& one) { return std::holds_alternative<SerialSettings>(one.way); });
  return serial == device.listeners.end() ? nullptr : &*serial;
}

double SpeedGate::speed_m_s(base::Duration covered, base::Duration left_to_contact) const {
  const double first_s = base::to_s(covered);
  const double last_s = base::to_s(left_to_contact);
  const double first_m_s = flag_m / first_s;
  const double last_m_s = to_contact_m / last_s;
  return last_m_s + (last_m_s - first_m_s) * last_s / (first_s + last_s);
}

std::string_view to_text(ContactKind kind) {
  switch (kind) {
    case ContactKind::none: return "none";
    case ContactKind::tip_switch: return "tip-switch";
    case ContactKind::coil_current: return "coil-current";
    case ContactKind::pickup: return "pickup";
  }
  return "unknown";
}

}  // namespace plexor::rig
