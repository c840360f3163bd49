#include "virtual/ageing.hpp"

#include <algorithm>

namespace plexor::virtual_rig {

namespace {

/// Basic operations alone, so that a run of the same day is the same on every machine.
double gain_of(const AgeingSettings& ageing, std::int64_t wall_ns) {
  constexpr double ns_per_day = 86'400e9;
  constexpr double least_gain = 0.01;
  const double days = static_cast<double>(wall_ns - ageing.since_ns) / ns_per_day;
  return std::max(1.0 + ageing.gain_per_day * std::max(days, 0.0), least_gain);
}

}  // namespace

bool ages(const Simulation& simulation) {
  return std::ranges::any_of(simulation.devices, [](const DeviceSettings& device) {
    const auto* firmware = std::get_if<FirmwareSettings>(&device);
    return firmware != nullptr && firmware->ageing;
  });
}

void age(Simulation& simulation, std::int64_t wall_ns) {
  for (DeviceSettings& device : simulation.devices) {
    auto* firmware = std::get_if<FirmwareSettings>(&device);
    if (firmware == nullptr || !firmware->ageing) continue;
    firmware->sensitivity *= gain_of(*firmware->ageing, wall_ns);
  }
}

}  // namespace plexor::virtual_rig
