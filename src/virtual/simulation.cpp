#include "virtual/simulation.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "virtual/parse_parts.hpp"

namespace plexor::virtual_rig {

namespace {

using base::TableReader;

std::vector<DeviceSettings> read_devices(TableReader& in, const rig::RigFile& rig) {
  std::vector<DeviceSettings> devices;
  for (TableReader& table : in.tables("device")) devices.push_back(read_device(table));
  if (devices.size() != rig.devices.size()) {
    in.fail("device", fmt::format("{} simulated devices", devices.size()),
            fmt::format("one [[simulated.device]] for each of the rig's {} devices",
                        rig.devices.size()));
  }
  return devices;
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
  if (!rig.calibration) {
    throw base::InputError(in.place(), "a simulated rig without calibration",
                           "the table [calibration]",
                           "add it: the simulated tapper strikes as it says");
  }
  Simulation simulation;
  simulation.tapper = read_tapper(in.table("tapper"), rig);
  simulation.devices = read_devices(in, rig);
  const bool samples = std::any_of(
      simulation.devices.begin(), simulation.devices.end(),
      [](const DeviceSettings& d) { return std::holds_alternative<FirmwareSettings>(d); });
  if (samples || in.has("front_end")) simulation.sensor = read_sensor(in);
  if (!samples) simulation.sensor.reset();  // nobody would hear it
  in.finish();
  return simulation;
}

}  // namespace plexor::virtual_rig
