#include "safety/interlock.hpp"

#include <algorithm>

namespace plexor::safety {

namespace {

/// Causes begin with the guards, in their order.
Cause cause_of(Guard guard) { return static_cast<Cause>(guard); }

}  // namespace

std::string_view to_text(InterlockState state) {
  constexpr std::array names{"safe", "ready", "armed", "tapping", "tripped"};
  return names.at(static_cast<std::size_t>(state));
}

std::string_view to_text(Guard guard) { return to_text(cause_of(guard)); }

std::string_view to_text(Cause cause) {
  constexpr std::array names{
      "stop loop",           "lid",   "warden", "plunger not home",    "coil too hot",
      "journal not durable", "clock", "supply", "contact without tap", "taps without contact",
      "contact while lifted"};
  return names.at(static_cast<std::size_t>(cause));
}

bool Interlock::guards_hold() const {
  return std::ranges::all_of(readings_, [](Reading reading) { return reading == Reading::good; });
}

void Interlock::trip(Cause cause) {
  if (!may_move()) return;
  state_ = InterlockState::tripped;
  cause_ = cause;
}

/// Nobody has armed: safe or ready, by the guards alone.
void Interlock::settle() {
  if (state_ == InterlockState::safe || state_ == InterlockState::ready) {
    state_ = guards_hold() ? InterlockState::ready : InterlockState::safe;
  }
}

void Interlock::see(Guard guard, Reading reading) {
  readings_[static_cast<std::size_t>(guard)] = reading;
  if (reading != Reading::good) trip(cause_of(guard));
  settle();
}

void Interlock::see_contact(bool explained) {
  if (!setting_.contact_counts) return;
  if (setting_.lifted) return trip(Cause::contact_while_lifted);
  if (!explained) trip(Cause::contact_without_tap);
}

void Interlock::see_tap(bool landed) {
  if (!setting_.contact_counts || setting_.lifted) return;
  misses_ = landed ? 0 : static_cast<std::uint8_t>(misses_ + 1);
  if (misses_ < setting_.most_misses) return;
  misses_ = 0;
  trip(Cause::taps_without_contact);
}

bool Interlock::arm() {
  if (state_ != InterlockState::ready) return false;
  state_ = InterlockState::armed;
  misses_ = 0;
  ++epoch_;
  return true;
}

bool Interlock::clear() {
  if (state_ != InterlockState::tripped || !guards_hold()) return false;
  state_ = InterlockState::ready;
  cause_.reset();
  return true;
}

bool Interlock::begin_trial() {
  if (state_ != InterlockState::armed) return false;
  state_ = InterlockState::tapping;
  return true;
}

void Interlock::end_trial() {
  if (state_ == InterlockState::tapping) state_ = InterlockState::armed;
}

void Interlock::disarm() {
  if (!may_move()) return;
  state_ = InterlockState::ready;
  settle();
}

}  // namespace plexor::safety
