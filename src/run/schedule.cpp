#include "run/schedule.hpp"

#include <algorithm>

namespace plexor::run {

base::Instant last_contact(const base::Trial& trial, base::Instant start) {
  return trial.taps.empty() ? start : start + trial.taps.back().contact;
}

base::Instant closing(const base::Trial& trial, base::Instant start) {
  return last_contact(trial, start) + trial.window;
}

base::Instant over(const base::Trial& trial, base::Instant start,
                   const std::vector<base::Pulse>& pulses) {
  const base::Instant closed = closing(trial, start);
  return pulses.empty() ? closed : std::max(closed, pulses.back().off());
}

base::Instant earliest_next(const base::Trial& trial, base::Instant start) {
  const bool quiet = trial.kind == base::TrialKind::quiet;
  return (quiet ? closing(trial, start) : last_contact(trial, start)) + trial.gap;
}

base::Instant start_of(const base::Trial& trial, base::Instant earliest, base::Instant now,
                       const rig::RigFile& rig) {
  base::Instant soonest = now + planning_lead;
  if (!trial.taps.empty()) soonest += rig.calibration->at(trial.taps.front().strike).transit;
  return std::max(earliest, soonest);
}

std::vector<base::Pulse> pulses_of(const base::Trial& trial, base::Instant start,
                                   const rig::RigFile& rig) {
  std::vector<base::Pulse> pulses;
  pulses.reserve(trial.taps.size());
  for (const base::Tap& tap : trial.taps) {
    const rig::CalibrationPoint drive = rig.calibration->at(tap.strike);
    pulses.push_back({start + tap.contact - drive.transit, drive.on_time});
  }
  return pulses;
}

}  // namespace plexor::run
