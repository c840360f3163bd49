#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "base/time.hpp"
#include "rig/rig_file.hpp"
#include "scenario/scenario.hpp"

namespace plexor::run {

/// The coil over a stretch of the plan.
struct CoilPoint {
  base::Instant at;
  double winding_c = 0.0;  ///< highest modelled winding temperature within the stretch
  double duty_percent = 0.0;
};

/// The whole plan, walked without moving anything and without voids.
struct Rehearsal {
  std::uint64_t trials = 0;  ///< rhythm trials
  std::uint64_t taps = 0;    ///< reference taps included
  std::uint64_t reference_groups = 0;
  base::Duration length{};
  base::Duration quiet{};
  double peak_winding_c = 0.0;
  double peak_duty_percent = 0.0;
  std::vector<CoilPoint> coil;  ///< at most 60 stretches of equal length
};

/// Walks the plan and checks every pulse against the rig's limits. Throws
/// base::InputError, naming block or trial and what would fit, for a plan that
/// this rig can't or must not tap: no calibration, strikes outside it, contacts
/// closer than the actuator allows, energy, duty, coil temperature, reference
/// taps without a contact sensor. `scenario_file` is only used in messages;
/// `still_going` is called every few thousand trials with the share done (0 to 1).
[[nodiscard]] Rehearsal rehearse(const scenario::Scenario& scenario,
                                 const std::string& scenario_file, const rig::RigFile& rig,
                                 const std::function<void(double)>& still_going = {});

}  // namespace plexor::run
