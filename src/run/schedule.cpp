#include "run/schedule.hpp"

#include <algorithm>

namespace plexor::run {

namespace {

base::Duration on_time_of(std::span<const base::Pulse> pulses) {
  base::Duration sum{};
  for (const base::Pulse& pulse : pulses) sum += pulse.on_time;
  return sum;
}

}  // namespace

std::optional<base::Pulse> overrun_of(std::span<const base::Pulse> planned,
                                      std::span<const base::Pulse> actual) {
  const base::Duration overrun = on_time_of(actual) - on_time_of(planned);
  if (overrun <= base::Duration{}) return std::nullopt;
  return base::Pulse{std::max(planned.back().off(), actual.back().off() - overrun), overrun};
}

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
