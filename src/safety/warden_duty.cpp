#include "safety/warden_duty.hpp"

#include <array>

namespace plexor::safety {

std::string_view to_text(WardenCause cause) {
  constexpr std::array names{"stop loop",       "lid",
                             "controller gone", "heartbeat missing",
                             "heartbeat wrong", "pulse too long",
                             "coil not sensed", "warden held up"};
  return names.at(static_cast<std::size_t>(cause));
}

/// The coil must be off, or on for no longer than the limit. Watched also without power.
std::optional<WardenCause> WardenDuty::coil_cause(const Evidence& evidence) {
  if (!evidence.coil_on) return WardenCause::coil_unsensed;
  if (!*evidence.coil_on) {
    coil_on_since_.reset();
    return std::nullopt;
  }
  if (!coil_on_since_) coil_on_since_ = evidence.now;
  if (evidence.now - *coil_on_since_ > limits_.longest_pulse) return WardenCause::pulse_too_long;
  return std::nullopt;
}

std::optional<WardenCause> WardenDuty::cause_in(const Evidence& evidence) {
  const bool was_held_up = last_tick_ && (evidence.now - *last_tick_ > limits_.longest_tick ||
                                          evidence.now < *last_tick_);
  last_tick_ = evidence.now;
  const bool counts_back = evidence.heartbeat < heartbeat_;
  if (evidence.heartbeat > heartbeat_) {
    heartbeat_ = evidence.heartbeat;
    heartbeat_seen_ = evidence.now;
  }
  const auto coil = coil_cause(evidence);
  if (!evidence.loop_closed.value_or(false)) return WardenCause::stop_loop;
  if (!evidence.lid_closed.value_or(false)) return WardenCause::lid;
  if (coil) return coil;
  if (!evidence.controller_lives) return WardenCause::controller_gone;
  if (counts_back || evidence.heartbeat_at > evidence.now) return WardenCause::heartbeat_wrong;
  // Both by its own stamp and by when its number last grew: a stamp alone could be a leftover.
  const bool fresh = heartbeat_seen_ && evidence.now - *heartbeat_seen_ <= limits_.heartbeat_age &&
                     evidence.now - evidence.heartbeat_at <= limits_.heartbeat_age;
  if (!fresh) return WardenCause::heartbeat_missing;
  if (was_held_up) return WardenCause::late;
  return std::nullopt;
}

Orders WardenDuty::tick(const Evidence& evidence) {
  standing_ = cause_in(evidence);
  if (standing_ && powered_) {
    tripped_ = standing_;
    ++trips_;
  }
  if (tripped_ && !standing_ && evidence.acknowledged_trips == trips_) tripped_.reset();
  powered_ = !standing_ && !tripped_ && evidence.power_wanted;
  if (!powered_) return {};
  // The one place where power is given and the watchdog fed: all evidence is in time.
  return {.enable = true, .feed_watchdog = true};
}

}  // namespace plexor::safety
