#include "virtual/simulation.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "virtual/parse_parts.hpp"

namespace plexor::virtual_rig {

namespace {

using base::TableReader;

void read_devices(TableReader& in, const rig::RigFile& rig, Simulation& simulation) {
  std::vector<TableReader> tables = in.tables("device");
  if (tables.size() != rig.devices.size()) {
    in.fail("device", fmt::format("{} simulated devices", tables.size()),
            fmt::format("one [[simulated.device]] for each of the rig's {} devices",
                        rig.devices.size()));
  }
  for (std::size_t i = 0; i < tables.size(); ++i) {
    if (rig.kind == rig::RigKind::lines) {
      simulation.speech.push_back(read_speech(tables[i], rig.devices[i]));
    }
    simulation.lives.push_back(read_life(tables[i]));
    simulation.devices.push_back(read_device(tables[i]));
  }
}

base::Instant read_power_cut(TableReader in) {
  const base::Instant at = base::segment_start + in.duration("at_s", {0, 10'000'000});
  in.finish();
  return at;
}

void check_curve(const rig::CalibrationCurve& curve, const TapperSettings& tapper,
                 const base::Place& place) {
  for (const rig::CalibrationPoint& point : curve.points) {
    const auto tap = physics::tap(tapper.solenoid, {.pulse = point.on_time,
                                                    .coil_mdegc = curve.conditions.coil_mdegc,
                                                    .supply_mv = curve.conditions.supply_mv});
    const double calibrated_m_s = base::to_m_s(point.strike);
    const double strike_m_s = tap.landed() ? tap.contacts.front().speed_m_s : 0.0;
    const double transit_ms = tap.landed() ? base::to_ms(tap.contacts.front().at) : 0.0;
    constexpr double strike_share = 0.05;
    constexpr double strike_at_least_m_s = 0.02;
    constexpr double transit_off_ms = 0.5;
    const bool fits = std::abs(strike_m_s - calibrated_m_s) <=
                          std::max(strike_share * calibrated_m_s, strike_at_least_m_s) &&
                      std::abs(transit_ms - base::to_ms(point.transit)) <= transit_off_ms;
    if (fits) continue;
    throw base::InputError(
        place,
        fmt::format("a calibration of {:.3f} m/s after {:.2f} ms for a pulse of {:g} ms",
                    calibrated_m_s, base::to_ms(point.transit), base::to_ms(point.on_time)),
        tap.landed() ? fmt::format("what the simulated solenoid does: {:.3f} m/s after {:.2f} ms",
                                   strike_m_s, transit_ms)
                     : std::string("a pulse with which the simulated solenoid lands"),
        "put the solenoid's figures into [[calibration.curve]]");
  }
}

/// The solenoid strikes as physics says; a calibration that says otherwise would plan other taps
/// than the rig makes.
void check_calibration(const rig::RigFile& rig, const TapperSettings& tapper,
                       const base::Place& place) {
  for (const rig::CalibrationCurve& curve : rig.calibration->curves) {
    check_curve(curve, tapper, place);
  }
}

/// A channel gives what the device's converter sees: it can't have another rate or other ends.
void check_channels(const rig::RigFile& rig, const Simulation& simulation,
                    const base::Place& place) {
  for (const rig::Channel& channel : rig.channels) {
    const bool samples =
        channel.device && simulation.sensor &&
        std::holds_alternative<FirmwareSettings>(simulation.devices.at(*channel.device));
    if (!samples) {
      throw base::InputError(place, fmt::format("a simulated channel \"{}\"", channel.name),
                             "one whose `device` is simulated by firmware, whose converter it is");
    }
    const FrontEndSettings& front_end = simulation.sensor->front_end;
    const std::int32_t highest = (std::int32_t{1} << front_end.bits) - 1;
    if (channel.rate_hz == front_end.rate_hz && channel.lowest == 0 && channel.highest == highest) {
      continue;
    }
    throw base::InputError(place,
                           fmt::format("channel \"{}\" at {} Hz from {} to {}", channel.name,
                                       channel.rate_hz, channel.lowest, channel.highest),
                           fmt::format("what [simulated.front_end] gives: {} Hz from 0 to {}",
                                       front_end.rate_hz, highest),
                           "change rate_hz, lowest or highest");
  }
}

}  // namespace

bool KnownRhythm::matches(const std::vector<base::Duration>& heard) const {
  return std::equal(heard.begin(), heard.end(), intervals.begin(), intervals.end(),
                    [](base::Duration interval, const auto& window) {
                      return window.first <= interval && interval <= window.second;
                    });
}

Simulation parse_simulation(std::string_view text, const std::string& file,
                            const rig::RigFile& rig) {
  TableReader in = TableReader::parse(text, file).table("simulated");
  const bool plans_by_itself = rig.kind == rig::RigKind::simulated;
  if (plans_by_itself && !rig.calibration) {
    throw base::InputError(in.place(), "a simulated rig without calibration",
                           "the table [calibration]", "add it: pulses are chosen by it");
  }
  Simulation simulation;
  simulation.tapper = read_tapper(in.table("tapper"), rig);
  if (plans_by_itself) check_calibration(rig, simulation.tapper, in.place());
  read_devices(in, rig, simulation);
  const bool samples = std::any_of(
      simulation.devices.begin(), simulation.devices.end(),
      [](const DeviceSettings& d) { return std::holds_alternative<FirmwareSettings>(d); });
  if (samples || in.has("front_end")) simulation.sensor = read_sensor(in);
  if (!samples) simulation.sensor.reset();  // nobody would hear it
  check_channels(rig, simulation, in.place());
  if (plans_by_itself) {
    if (auto cut = in.table_if("power_cut")) simulation.power_cut = read_power_cut(std::move(*cut));
  }
  in.finish();
  return simulation;
}

}  // namespace plexor::virtual_rig
