#include "run/hand_taps.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <utility>

#include "base/error.hpp"
#include "run/schedule.hpp"

namespace plexor::run {

namespace {

using namespace std::chrono_literals;

constexpr base::Duration longest_rest = 1h;
constexpr base::Duration look_around = 50ms;

}  // namespace

std::optional<base::Duration> HandTap::transit() const {
  if (contacts.empty()) return std::nullopt;
  return contacts.front() - actual.on;
}

std::optional<double> HandTap::strike_m_s(const rig::SpeedGate& speed_gate) const {
  if (!gate || contacts.empty()) return std::nullopt;
  const base::Duration left_to_contact = contacts.front() - gate->at;
  if (gate->covered <= base::Duration{} || left_to_contact <= base::Duration{}) return std::nullopt;
  return speed_gate.speed_m_s(gate->covered, left_to_contact);
}

HandTapper::HandTapper(const rig::RigFile& rig, RigPorts ports, const safety::CoilPast& past,
                       Hooks hooks)
    : rig_(rig),
      ports_(ports),
      check_(rig.limits, rig.coil, past, ports.clock.now()),
      hooks_(std::move(hooks)) {}

double HandTapper::winding_c() const { return check_.coil_at(ports_.clock.now()).winding_c; }

std::optional<base::Pulse> HandTapper::pulse_that_fits(base::Duration on_time) {
  base::Pulse pulse{ports_.clock.now() + planning_lead, on_time};
  const base::Instant latest = pulse.on + longest_rest;
  while (const auto refusal = check_.check(std::array{pulse})) {
    const bool may_wait = refusal->later && pulse.on + *refusal->later <= latest;
    if (!may_wait) throw base::RigFault(refusal->reason);
    if (!wait_until(ports_.clock.now() + *refusal->later, nullptr)) return std::nullopt;
    pulse.on = ports_.clock.now() + planning_lead;
  }
  return pulse;
}

/// False if it was stopped.
bool HandTapper::wait_until(base::Instant at, HandTap* tap) {
  while (ports_.clock.now() < at) {
    if (hooks_.stop_requested()) return false;
    const base::Instant next = std::min(at, ports_.clock.now() + look_around);
    if (const auto observation = ports_.senses.observe_until(next)) take(*observation, tap);
  }
  return !hooks_.stop_requested();
}

void HandTapper::take(const rig::Observation& observation, HandTap* tap) {
  if (const auto* left = std::get_if<rig::LeaveEnded>(&observation)) {
    ports_.actuator.make_safe();
    throw base::RigFault("no leave to tap any more: " + left->reason);
  }
  if (tap == nullptr) return;
  if (const auto* fired = std::get_if<rig::PulseFired>(&observation)) {
    tap->actual = fired->actual;
  } else if (const auto* contact = std::get_if<rig::ContactSensed>(&observation)) {
    tap->contacts.push_back(contact->at);
  } else if (const auto* passed = std::get_if<rig::GatePassed>(&observation)) {
    if (!tap->gate) tap->gate = *passed;  // later passages are the way back
  } else if (const auto* event = std::get_if<base::Event>(&observation)) {
    tap->heard.push_back(*event);
  }
}

std::optional<HandTap> HandTapper::tap(base::Duration on_time, base::Duration watch) {
  const auto pulse = pulse_that_fits(on_time);
  if (!pulse) return std::nullopt;
  HandTap tap;
  tap.winding_c = check_.coil_at(pulse->on).winding_c;
  check_.accept(std::array{*pulse});
  const Fire fire{{*pulse}, check_.past_at(pulse->off())};
  if (hooks_.before_fire) hooks_.before_fire(fire);
  ports_.actuator.fire(fire.pulses);
  const bool whole = wait_until(pulse->off() + std::max(watch, contact_may_lag), &tap);
  if (!whole) ports_.actuator.make_safe();
  account_for(*pulse, tap.actual);
  if (!whole) return std::nullopt;
  if (tap.actual.on_time == base::Duration{}) {
    throw base::RigFault("the pulse was not given: no leave to tap, or a device can't be heard");
  }
  return tap;
}

/// What was given beyond the plan has heated the coil too.
void HandTapper::account_for(const base::Pulse& planned, const base::Pulse& actual) {
  if (const auto overrun = overrun_of(std::array{planned}, std::array{actual})) {
    check_.accept(std::array{*overrun});
  }
  if (actual.on_time <= rig_.limits.max_pulse + longest_overrun) return;
  ports_.actuator.make_safe();
  throw base::RigFault(fmt::format("a pulse of {:.1f} ms: the driver did not end it in time",
                                   base::to_ms(actual.on_time)));
}

}  // namespace plexor::run
