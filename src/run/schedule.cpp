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
                       const Aim& aim, double winding_c) {
  base::Instant soonest = now + planning_lead;
  if (!trial.taps.empty()) soonest += aim.drive(trial.taps.front().strike, winding_c).transit;
  return std::max(earliest, soonest);
}

std::vector<base::Pulse> pulses_of(const base::Trial& trial, base::Instant start, const Aim& aim,
                                   double winding_c) {
  std::vector<base::Pulse> pulses;
  pulses.reserve(trial.taps.size());
  for (const base::Tap& tap : trial.taps) {
    const rig::CalibrationPoint drive = aim.drive(tap.strike, winding_c);
    pulses.push_back({start + tap.contact - drive.transit, drive.on_time});
  }
  return pulses;
}

}  // namespace plexor::run
