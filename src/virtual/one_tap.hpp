#pragma once

#include <optional>
#include <vector>

#include "rig/rig_file.hpp"
#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// A value at a time since the coil was switched on.
struct TraceSample {
  double time_s = 0.0;
  double value = 0.0;
};

/// One tap on a simulated rig, looked at closely: without scatter, with a cold
/// coil, from switching on until the surface has rung down.
struct OneTap {
  base::Duration on_time{};
  std::size_t contacts = 0;  ///< the tap, and re-strikes
  double contact_s = 0.0;    ///< when the tip touches the surface
  double strike_m_s = 0.0;
  double energy_j = 0.0;
  double peak_force_n = 0.0;
  double contact_time_s = 0.0;  ///< how long tip and surface stay together
  double restitution = 0.0;
  std::optional<double> click_s;        ///< when the plunger is back at its stop
  std::vector<double> lowest_modes_hz;  ///< of the surface, up to three
  double peak_pin_mv = 0.0;
  double ring_down_s = 0.0;  ///< from the contact until the signal stays below a tenth of its peak
  std::vector<TraceSample> current_a;
  std::vector<TraceSample> plunger_m;
  std::vector<TraceSample> force_n;
  std::vector<TraceSample> pin_mv;  ///< at the converter's pin, relative to mid-rail
  std::vector<TraceSample> codes;   ///< of the first device's converter, with its noise
};

/// The tap that the rig's calibration gives for a strike speed. The rig needs a
/// calibration that holds the speed (base::RigFault otherwise) and a sensor;
/// nothing if its devices have none, or if the pulse does not land.
[[nodiscard]] std::optional<OneTap> one_tap(const rig::RigFile& rig, const Simulation& simulation,
                                            base::StrikeSpeed strike);

}  // namespace plexor::virtual_rig
