#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "virtual/virtual_rig.hpp"

namespace plexor::virtual_rig {

using namespace std::chrono_literals;

/// A rig with a tip switch and one device, calibrated from 0.28 to 1.25 m/s.
[[nodiscard]] rig::RigFile workshop_rig();

/// One firmware device that knows `call` (two) and `kiln` (three), no disturbances.
[[nodiscard]] Simulation workshop_simulation();
[[nodiscard]] FirmwareSettings& firmware_of(Simulation& simulation);
[[nodiscard]] PeakSettings& peak_of(Simulation& simulation);

/// The same with one device that throws dice.
[[nodiscard]] Simulation dice_simulation(const DiceSettings& dice);
/// Reports each call, 500 ms after its last contact.
[[nodiscard]] DiceSettings sure_dice();

/// Pulses so that contacts come at `first` and then after each of `contacts`.
[[nodiscard]] std::vector<base::Pulse> pulses_for(const rig::RigFile& rig, base::Instant first,
                                                  const std::vector<base::Duration>& contacts,
                                                  double strike_m_s = 0.9);

[[nodiscard]] std::vector<rig::Observation> observe_all(VirtualRig& rig, base::Instant until);

template <typename Kind>
std::vector<Kind> only(const std::vector<rig::Observation>& observations) {
  std::vector<Kind> kept;
  for (const auto& one : observations) {
    if (const auto* match = std::get_if<Kind>(&one)) kept.push_back(*match);
  }
  return kept;
}

/// One line an observation, with each nanosecond: equal texts are equal observations.
[[nodiscard]] std::string to_text(const std::vector<rig::Observation>& observations);

[[nodiscard]] std::string read_source_file(const std::string& path);

}  // namespace plexor::virtual_rig
