#pragma once

#include <optional>
#include <span>
#include <vector>

#include "base/pulse.hpp"
#include "base/trial.hpp"
#include "run/aim.hpp"

namespace plexor::run {

/// Least time from planning a trial to its first pulse: checks, the journal and the queue fit into
/// it.
inline constexpr base::Duration planning_lead = std::chrono::milliseconds{100};

/// A contact later than this after its pulse ended is not explained by the pulse.
inline constexpr base::Duration contact_may_lag = std::chrono::milliseconds{80};

/// A driver's own lateness in ending a pulse; more is a fault, whatever a scenario tolerates.
inline constexpr base::Duration longest_overrun = std::chrono::milliseconds{5};

/// What was given beyond the plan, as a pulse at the end of both: it has heated the coil too.
/// `planned` is not empty. Nothing if no more was given.
[[nodiscard]] std::optional<base::Pulse> overrun_of(std::span<const base::Pulse> planned,
                                                    std::span<const base::Pulse> actual);

/// The instant of a trial's last planned contact; of its begin in quiet.
[[nodiscard]] base::Instant last_contact(const base::Trial& trial, base::Instant start);

/// When the trial no longer listens: end of the response window, or of the quiet stretch.
[[nodiscard]] base::Instant closing(const base::Trial& trial, base::Instant start);

/// When everything of the trial is over: it no longer listens, and its last pulse has ended.
[[nodiscard]] base::Instant over(const base::Trial& trial, base::Instant start,
                                 const std::vector<base::Pulse>& pulses);

/// Earliest first contact of the next trial.
[[nodiscard]] base::Instant earliest_next(const base::Trial& trial, base::Instant start);

/// When a trial planned at `now` can start: not before `earliest`, and late
/// enough that its first pulse lies planning_lead ahead.
[[nodiscard]] base::Instant start_of(const base::Trial& trial, base::Instant earliest,
                                     base::Instant now, const Aim& aim, double winding_c);

/// One pulse for each tap: begins a transit before its contact is due, with the
/// winding at `winding_c` (a trial is too short to warm it by a degree).
/// A trial with taps needs a calibrated rig that covers its strikes (rehearse checks both).
[[nodiscard]] std::vector<base::Pulse> pulses_of(const base::Trial& trial, base::Instant start,
                                                 const Aim& aim, double winding_c);

}  // namespace plexor::run
