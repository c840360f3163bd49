#include "run/conductor.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "run/contacts.hpp"
#include "run/schedule.hpp"

namespace plexor::run {

namespace {

using base::VoidReason;
using journal::Ended;

/// So many trials in a row without contact are a fault of the rig, not of chance.
constexpr std::uint32_t most_misfires_in_row = 3;
/// So often a trial is presented at the most; then the run gives up, undecided.
constexpr std::uint32_t most_attempts = 5;
/// A device that is silent for longer will not come back by itself.
constexpr base::Duration longest_silence = std::chrono::minutes{30};
/// One shift of the reference taps may be an accident; the second says the tapper has changed.
constexpr std::uint32_t most_shifts_in_row = 2;

/// What is kept as it was observed.
std::optional<journal::Record> kept_as_it_is(const rig::Observation& observation) {
  if (const auto* line = std::get_if<rig::LineHeard>(&observation)) {
    return journal::RawLine{line->device, line->text, line->at, line->listener};
  }
  if (const auto* sensed = std::get_if<rig::DisturbanceSensed>(&observation)) {
    return journal::Disturbance{sensed->name, sensed->by, sensed->from, sensed->to, sensed->at};
  }
  if (const auto* clock = std::get_if<rig::ClockSeen>(&observation)) {
    return journal::ClockSet{clock->at, clock->wall_ns, clock->utc_offset_s};
  }
  return std::nullopt;
}

std::string name_of(const base::Trial& trial) {
  if (trial.kind == base::TrialKind::reference) return "reference taps were";
  return fmt::format("trial {} of block {} was", trial.id.number + 1, trial.id.block + 1);
}

}  // namespace

Conductor::Conductor(const scenario::Scenario& scenario, const rig::RigFile& rig, bool lifted,
                     std::uint64_t first_sequence, const std::optional<safety::CoilPast>& past,
                     std::optional<Ledger> so_far)
    : scenario_(scenario),
      rig_(rig),
      lifted_(lifted),
      next_sequence_(first_sequence),
      ledger_(so_far ? *std::move(so_far) : Ledger(scenario, rig.devices, lifted)),
      aim_(rig),
      pulse_check_(rig.limits, rig.coil, past.value_or(safety::CoilPast{safety::cold(rig.coil)}),
                   base::segment_start),
      hearing_(rig.devices),
      watch_(rig.devices),
      capture_(static_cast<std::uint32_t>(rig.channels.size())) {}

void Conductor::begin(base::Instant now) {
  earliest_start_ = now;
  if (const auto shift = ledger_.unanswered_shift()) {
    append(journal::ReferenceShift{now, *shift, ledger_.take_back_since_reference()});
  }
  plan_next(now);
}

std::optional<Action> Conductor::take_action() {
  if (actions_.empty()) return std::nullopt;
  Action action = std::move(actions_.front());
  actions_.pop_front();
  return action;
}

Progress Conductor::progress() const {
  Progress progress{ledger_.count(), ledger_.remaining()};
  if (leave_ended_) progress.leave_ended = leave_ended_->reason;
  if (waits_since_) progress.unheard = hearing_.missing();
  progress.hung = watch_.note();
  if (asked_for_) progress.move_to = scenario_.spots.at(*asked_for_).name;
  return progress;
}

void Conductor::append(journal::Record record) {
  actions_.emplace_back(Append{std::move(record)});
  ++next_sequence_;
}

bool Conductor::contact_is_sensed() const { return rig_.contact.is_sensed(); }

void Conductor::plan_next(base::Instant now) {
  if (const auto trial = ledger_.next()) {
    if (!trial->taps.empty() && ledger_.next_spot() != ledger_.spot()) return ask_for_move(now);
    if (!devices_are_on(now)) return;
    if (!hearing_.is_complete()) return wait_for_devices(now);
    waits_since_.reset();
    return plan(*trial, now);
  }
  tell(ledger_.finish());
  if (!leave_ended_) return end(Ended::Reason::complete, "", now);
  end(leave_ended_->tripped ? Ended::Reason::fault : Ended::Reason::interrupted,
      leave_ended_->reason, now);
}

/// A trial for a device that can't be heard would be void before it began.
void Conductor::wait_for_devices(base::Instant now) {
  if (!waits_since_) {
    waits_since_ = now;
    actions_.emplace_back(Commit{});  // it may wait long: what is known so far is kept
  }
  if (now - *waits_since_ >= longest_silence) {
    return end(Ended::Reason::fault,
               fmt::format("{} could not be heard for {:.0f} minutes: look at power and cable",
                           hearing_.missing(), base::to_s(longest_silence) / 60.0),
               now);
  }
  wake_at_ = now + std::chrono::seconds{1};
}

/// Restarts what hangs; false while a device is without power, or starts.
bool Conductor::devices_are_on(base::Instant now) {
  while (const auto order = watch_.next_order(now)) {
    if (!order->on) append(journal::PowerCycle{order->device, order->reason, now});
    actions_.emplace_back(Commit{});  // what is known so far is kept, whatever the switching does
    actions_.emplace_back(SwitchPower{order->device, order->on});
  }
  const auto until = watch_.busy_until();
  if (until) wake_at_ = *until;
  return !until;
}

/// Hands are at the rig meanwhile, and whatever the devices report of them answers no trial.
void Conductor::ask_for_move(base::Instant now) {
  constexpr base::Duration again_after = std::chrono::milliseconds{100};
  if (!asked_for_) {
    tell(ledger_.finish());
    actions_.emplace_back(MakeSafe{});
    actions_.emplace_back(Commit{});
    asked_for_ = ledger_.next_spot();
  }
  actions_.emplace_back(AskForMove{*asked_for_});
  wake_at_ = now + again_after;
}

void Conductor::moved(base::Instant now) {
  if (ended_ || !asked_for_) return;
  ledger_.moved(*std::exchange(asked_for_, std::nullopt));
  append(journal::Moved{ledger_.spot(), now});
  plan_next(now);
}

void Conductor::plan(const base::Trial& trial, base::Instant now) {
  if (trial.id.attempt >= most_attempts) {
    end(Ended::Reason::too_many_voids,
        fmt::format("{} void {} times", name_of(trial), most_attempts), now);
    return;
  }
  Current current;
  current.planned.trial = trial;
  current.planned.start =
      start_of(trial, earliest_start_, now, aim_, pulse_check_.coil_at(now).winding_c);
  if (!trial.taps.empty()) {
    if (const auto refusal = fit(current.planned)) {
      end(Ended::Reason::fault, refusal->reason, now);
      return;
    }
    pulse_check_.accept(current.planned.pulses);
    const auto coil = pulse_check_.coil_at(current.planned.pulses.back().off());
    current.planned.coil_mc = static_cast<std::int32_t>(std::lround(coil.winding_c * 1000.0));
  }
  wake_at_ = over(trial, current.planned.start, current.planned.pulses);
  earliest_start_ = earliest_next(trial, current.planned.start);
  ledger_.planned(current.planned);
  capture_.begin(trial.id, trial.kind, current.planned.start);
  append(current.planned);
  actions_.emplace_back(Commit{});
  fire_when_durable_ = next_sequence_;
  current_ = std::move(current);
}

/// Gives the trial its pulses, later than planned where the coil must rest first.
std::optional<safety::Refusal> Conductor::fit(journal::TrialPlanned& planned) const {
  constexpr base::Duration longest_rest = std::chrono::hours{1};
  const base::Instant latest = planned.start + longest_rest;
  for (;;) {
    planned.pulses = pulses_of(planned.trial, planned.start, aim_,
                               pulse_check_.coil_at(planned.start).winding_c);
    auto refusal = check(planned.trial, planned.pulses);
    if (!refusal || !refusal->later || planned.start + *refusal->later > latest) return refusal;
    planned.start += *refusal->later;
  }
}

/// Each trial again before it is tapped, although the whole plan was rehearsed.
std::optional<safety::Refusal> Conductor::check(const base::Trial& trial,
                                                const std::vector<base::Pulse>& pulses) const {
  for (const base::Tap& tap : trial.taps) {
    if (auto refusal = safety::check_strike(rig_.limits, tap.strike)) return refusal;
  }
  return pulse_check_.check(pulses);
}

void Conductor::durable(std::uint64_t below, base::Instant now) {
  if (current_ && !current_->fired && below >= fire_when_durable_) fire(now);
}

void Conductor::fire(base::Instant now) {
  current_->fired = true;
  const auto& pulses = current_->planned.pulses;
  // Nothing is tapped for a device that can't be heard.
  if (!hearing_.is_complete()) current_->void_reason = VoidReason::listener_down;
  if (pulses.empty() || current_->void_reason) return;
  if (now >= pulses.front().on) {  // the journal took too long: nothing may be tapped late
    current_->void_reason = VoidReason::late_pulse;
    return;
  }
  actions_.emplace_back(Fire{pulses, pulse_check_.past_at(pulses.back().off())});
}

void Conductor::observe(const rig::Observation& observation) {
  if (ended_) return;
  if (const auto* samples = std::get_if<rig::SamplesHeard>(&observation)) {
    return capture_.take(*samples);
  }
  if (auto record = kept_as_it_is(observation)) {
    const auto* told = std::get_if<journal::Disturbance>(&*record);
    if (told != nullptr) ledger_.disturbed(*told);
    append(*std::move(record));
    if (told != nullptr) actions_.emplace_back(Commit{});  // whoever marks relies on it
    return;
  }
  if (const auto* event = std::get_if<base::Event>(&observation)) {
    append(journal::Heard{*event});
    ledger_.heard(*event);
    watch_.heard(event->device);
  } else if (const auto* change = std::get_if<rig::ListenerChanged>(&observation)) {
    append(journal::ListenerState{change->device, change->up, change->at, change->listener});
    hearing_.set(change->device, change->listener, change->up);
    watch_.listener_changed(*change);
    if (!change->up) ledger_.take_back_unheard(change->at);
    if (waits_since_ && hearing_.is_complete()) wake_at_ = change->at;
  } else if (const auto* left = std::get_if<rig::LeaveEnded>(&observation)) {
    end_of_leave(*left);
  } else if (current_) {
    if (const auto* fired = std::get_if<rig::PulseFired>(&observation)) {
      current_->actual.push_back(fired->actual);
    } else if (const auto* contact = std::get_if<rig::ContactSensed>(&observation)) {
      current_->contacts.push_back(contact->at);
    }
  }
  if (current_ && !hearing_.is_complete()) current_->void_reason = VoidReason::listener_down;
}

void Conductor::end_of_leave(const rig::LeaveEnded& left) {
  append(journal::LeaveEnded{left.reason, left.at});
  leave_ended_ = left;
  ledger_.set_may_tap(false);
  const bool given = !current_ || current_->actual.size() == current_->planned.pulses.size();
  if (!given) current_->void_reason = VoidReason::interrupted;
}

void Conductor::leave_given(base::Instant now) {
  if (ended_ || !leave_ended_) return;
  append(journal::LeaveGiven{now});
  leave_ended_.reset();
  ledger_.set_may_tap(true);
}

void Conductor::wake(base::Instant now) {
  if (ended_) return;
  if (!current_) {
    if (now >= wake_at_) asked_for_ ? ask_for_move(now) : plan_next(now);
    return;
  }
  // A last contact later than planned moves the window's end. One contact for each tap: a
  // chattering sensor must not keep a trial open.
  const base::Trial& trial = current_->planned.trial;
  if (trial.kind == base::TrialKind::rhythm && current_->contacts.size() >= trial.taps.size()) {
    wake_at_ = std::max(wake_at_, current_->contacts[trial.taps.size() - 1] + trial.window);
  }
  if (now >= wake_at_) close(now);
}

std::optional<VoidReason> Conductor::assess_contacts(const Current& done) const {
  const auto& planned = done.planned.pulses;
  const auto beyond = [this](base::Duration difference) {
    return std::chrono::abs(difference) > scenario_.pulse_tolerance;
  };
  if (done.actual.size() != planned.size()) return VoidReason::wrong_pulse;
  for (std::size_t i = 0; i < planned.size(); ++i) {
    if (beyond(done.actual[i].on - planned[i].on)) return VoidReason::late_pulse;
    if (beyond(done.actual[i].on_time - planned[i].on_time)) return VoidReason::wrong_pulse;
  }
  if (!contact_is_sensed()) return std::nullopt;
  const auto counts = contacts_by_pulse(done.actual, done.contacts);
  const bool any = std::any_of(counts.begin(), counts.end(), [](auto n) { return n > 0; });
  if (lifted_) return any ? std::optional(VoidReason::stray_contact) : std::nullopt;
  if (counts.back() > 0) return VoidReason::stray_contact;
  for (std::size_t i = 0; i < done.actual.size(); ++i) {
    if (counts[i] == 0) return VoidReason::no_contact;
    if (counts[i] > 1) return VoidReason::re_strike;
  }
  return std::nullopt;
}

void Conductor::close(base::Instant now) {
  Current done = std::move(*current_);
  current_.reset();
  account_for_overrun(done);
  if (rig_.contact.only_confirms()) done.contacts = confirming(done.actual, done.contacts, lifted_);
  if (!done.void_reason) done.void_reason = assess_contacts(done);
  const base::Trial& trial = done.planned.trial;
  const journal::TrialDone record{trial.id, now, done.actual, done.contacts, done.void_reason};
  append(record);
  Ledger::Closed closed = ledger_.closed(done.planned, record);
  tell(std::move(closed.settled));
  const bool measured = !trial.taps.empty() && done.contacts.size() == trial.taps.size();
  keep_waves(done, measured ? done.contacts.back() : last_contact(trial, done.planned.start));
  if (watch_.is_needed() && !lifted_) watch_.answered(ledger_.last_closed().value());

  if (const auto fault = fault_of(done)) {
    end(Ended::Reason::fault, *fault, now);
    return;
  }
  if (!done.void_reason) {
    learn_transit(done);
    if (trial.kind == base::TrialKind::reference) answer_reference(closed.shift, now);
  }
  if (!ended_) plan_next(now);
}

/// Only of what counts: a void trial's stimulus was another than planned.
void Conductor::keep_waves(const Current& done, base::Instant last_contact) {
  for (journal::WaveRecord& wave : capture_.finish(last_contact)) {
    if (!done.void_reason) actions_.emplace_back(Keep{std::move(wave)});
  }
}

/// Where contact is sensed, a valid trial has one for each pulse; lifted it has none.
void Conductor::learn_transit(const Current& done) {
  const base::Trial& trial = done.planned.trial;
  for (std::size_t tap = 0; tap < done.contacts.size() && tap < done.actual.size(); ++tap) {
    const base::Instant aimed_at = done.planned.start + trial.taps[tap].contact;
    aim_.learn(aimed_at - done.planned.pulses[tap].on, done.contacts[tap] - done.actual[tap].on);
  }
}

/// What was planned is in the coil's account already; what was given beyond it has heated it too.
/// A pulse that is told so late that a stretch of quiet hears of it was planned by the trial
/// before.
void Conductor::account_for_overrun(const Current& done) {
  if (done.planned.pulses.empty()) return;
  if (const auto overrun = overrun_of(done.planned.pulses, done.actual)) {
    pulse_check_.accept(std::array{*overrun});
  }
}

/// What this trial says about the rig itself, if it can't go on.
std::optional<std::string> Conductor::fault_of(const Current& done) {
  for (const base::Pulse& pulse : done.actual) {
    if (pulse.on_time > rig_.limits.max_pulse + longest_overrun) {
      return fmt::format("a pulse of {:.1f} ms: the driver did not end it in time",
                         base::to_ms(pulse.on_time));
    }
  }
  if (done.void_reason == VoidReason::no_contact) {
    ++misfires_in_row_;
  } else if (!done.contacts.empty()) {
    misfires_in_row_ = 0;
  }
  if (misfires_in_row_ < most_misfires_in_row) return std::nullopt;
  return fmt::format("{} trials in a row without contact: check tapper, supply and surface",
                     most_misfires_in_row);
}

void Conductor::tell(std::optional<judge::Settled> settled) {
  if (settled) actions_.emplace_back(Tell{*std::move(settled)});
}

void Conductor::answer_reference(std::optional<base::Duration> shift, base::Instant now) {
  if (!shift) {
    shifts_in_row_ = 0;
    return;
  }
  append(journal::ReferenceShift{now, *shift, ledger_.take_back_since_reference()});
  if (++shifts_in_row_ == most_shifts_in_row) {
    end(Ended::Reason::fault,
        fmt::format("the reference taps' transit moved by {:.2f} ms (tolerance {:.2f} ms): the "
                    "tapper has changed; look at it and calibrate",
                    base::to_ms(*shift), base::to_ms(scenario_.reference->transit_tolerance)),
        now);
  }
}

void Conductor::stop(Ended::Reason reason, const std::string& detail, base::Instant now) {
  if (ended_) return;
  actions_.emplace_front(MakeSafe{});
  if (current_) {
    append(journal::TrialDone{current_->planned.trial.id, now, current_->actual, current_->contacts,
                              VoidReason::interrupted});
    current_.reset();
  }
  end(reason, detail, now);
}

void Conductor::end(Ended::Reason reason, const std::string& detail, base::Instant now) {
  if (reason != Ended::Reason::complete) actions_.emplace_front(MakeSafe{});
  ended_ = Ended{reason, detail, now};
  append(*ended_);
  actions_.emplace_back(Commit{});
  for (const std::uint32_t device : watch_.without_power()) {
    actions_.emplace_back(SwitchPower{device, true});
  }
}

}  // namespace plexor::run
