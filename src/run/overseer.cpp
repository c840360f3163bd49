#include "run/overseer.hpp"

#include <utility>

#include "run/schedule.hpp"

namespace plexor::run {

namespace {

using lines::KernelInstant;
using safety::Guard;
using safety::Reading;
using namespace std::chrono_literals;

/// A thread that ticks later than this was not watching.
constexpr base::Duration longest_tick = 1s;
/// The two clocks are read one after the other; a suspended host is away for longer.
constexpr base::Duration clock_tolerance = 50ms;

Reading reading_of(bool good) { return good ? Reading::good : Reading::bad; }

}  // namespace

Overseer::Overseer(const Setting& setting, safety::Board board, const LiveClock& clock, Teller tell)
    : setting_(setting),
      board_(std::move(board)),
      clock_(clock),
      tell_(std::move(tell)),
      interlock_(setting.interlock),
      conductor_seen_(clock.start()),
      suspended_(lines::suspended_so_far()) {}

void Overseer::tick(KernelInstant now) {
  if (!heartbeat_held_) board_.beat(now);
  const std::scoped_lock lock(mutex_);
  see_warden(now);
  see_clock(now);
  see_plunger(now);
  see_conductor(now);
  watch_leave(now);
  settle(now);
}

void Overseer::see_warden(KernelInstant now) {
  const safety::Board::WardenState state = board_.warden();
  const bool fresh = state.ticks > 0 && now - state.at <= setting_.warden_age;
  if (!fresh) interlock_.see(Guard::warden, Reading::unknown);  // the cause of knowing no more
  interlock_.see(Guard::stop_loop, fresh ? state.loop : Reading::unknown);
  interlock_.see(Guard::lid, fresh ? state.lid : Reading::unknown);
  // While armed it must also really give the power that it was asked for.
  interlock_.see(Guard::warden, reading_of(fresh && !state.tripped && (!armed_ || state.powered)));
}

void Overseer::see_clock(KernelInstant now) {
  const bool steady = !last_tick_ || (now >= *last_tick_ && now - *last_tick_ <= longest_tick);
  const base::Duration suspended = lines::suspended_so_far();
  const bool awake = std::chrono::abs(suspended - suspended_) <= clock_tolerance;
  last_tick_ = now;
  suspended_ = suspended;
  interlock_.see(Guard::clock, reading_of(steady && awake));
}

/// At its stop, or on its way because of a pulse of ours.
void Overseer::see_plunger(KernelInstant now) {
  if (!setting_.interlock.contact_counts) {
    interlock_.see(Guard::plunger_home, Reading::good);  // nothing senses where it is
    return;
  }
  if (pulse_ && pulse_->off && now > *pulse_->off + contact_may_lag) assess_tap();
  interlock_.see(Guard::plunger_home, reading_of(!touching_ || explained(now)));
}

/// A conductor that hangs no longer sees to the journal.
void Overseer::see_conductor(KernelInstant now) {
  if (armed_ && now - conductor_seen_ > setting_.conductor_age) {
    interlock_.see(Guard::journal, Reading::unknown);
  }
}

void Overseer::watch_leave(KernelInstant now) {
  if (!armed_ || !leave_ends_ || now < *leave_ends_) return;
  interlock_.disarm();
  end_leave("the arm ticket has ended", false, now);
}

void Overseer::assess_tap() {
  interlock_.see_tap(pulse_->landed);
  pulse_.reset();
}

/// Brings the interlock's answer to the permit. [S3]
void Overseer::settle(KernelInstant now) {
  if (interlock_.permits(interlock_.epoch())) {
    permit_.give(interlock_.epoch());
  } else {
    permit_.take();
  }
  if (armed_ && interlock_.state() == safety::InterlockState::tripped) {
    end_leave("tripped: " + std::string(to_text(interlock_.cause().value())), true, now);
  }
}

void Overseer::end_leave(const std::string& reason, bool tripped, KernelInstant now) {
  permit_.take();
  board_.want_power(false);
  armed_ = false;
  tell_({reason, tripped, clock_.of(now)});
}

void Overseer::fail(const std::string& reason) {
  permit_.take();
  board_.want_power(false);
  const std::scoped_lock lock(mutex_);
  interlock_.disarm();
  const bool first = !std::exchange(failed_, true);
  if (first) end_leave(reason, true, lines::kernel_now());
}

void Overseer::take_leave_back(const std::string& reason) {
  const std::scoped_lock lock(mutex_);
  interlock_.disarm();
  if (armed_) end_leave(reason, false, lines::kernel_now());
}

bool Overseer::pulse_begins(KernelInstant at, std::uint64_t epoch) {
  const std::scoped_lock lock(mutex_);
  if (pulse_) assess_tap();
  if (!interlock_.permits(epoch)) settle(at);  // takes it
  if (!permit_.allows(epoch)) return false;
  pulse_ = GivenPulse{at, {}, false};
  return true;
}

bool Overseer::permits(std::uint64_t epoch) const {
  const std::scoped_lock lock(mutex_);
  return interlock_.permits(epoch) && permit_.allows(epoch);
}

void Overseer::pulse_ends(KernelInstant at) {
  const std::scoped_lock lock(mutex_);
  if (pulse_) pulse_->off = at;
}

bool Overseer::explained(KernelInstant at) const {
  return pulse_ && at >= pulse_->on && (!pulse_->off || at <= *pulse_->off + contact_may_lag);
}

void Overseer::see_contact(bool touching, KernelInstant at) {
  const std::scoped_lock lock(mutex_);
  touching_ = touching;
  if (!touching) return;
  const bool is_explained = explained(at);
  if (is_explained) pulse_->landed = true;
  interlock_.see_contact(is_explained);
  settle(lines::kernel_now());
}

void Overseer::see(Guard guard, Reading reading) {
  const std::scoped_lock lock(mutex_);
  interlock_.see(guard, reading);
  settle(lines::kernel_now());
}

void Overseer::see_listeners(bool heard) {
  const std::scoped_lock lock(mutex_);
  interlock_.see_listeners(heard);
  settle(lines::kernel_now());
}

void Overseer::conductor_lives(KernelInstant now) {
  const std::scoped_lock lock(mutex_);
  conductor_seen_ = now;
}

void Overseer::want_power(bool wanted) { board_.want_power(wanted); }

void Overseer::acknowledge_warden() { board_.acknowledge(board_.warden().trips); }

bool Overseer::arm(std::optional<KernelInstant> leave_ends) {
  const std::scoped_lock lock(mutex_);
  if (failed_ || !interlock_.arm()) return false;
  armed_ = true;
  leave_ends_ = leave_ends;
  conductor_seen_ = lines::kernel_now();
  return true;
}

std::optional<std::uint64_t> Overseer::begin_trial() {
  const std::scoped_lock lock(mutex_);
  if (!interlock_.begin_trial()) return std::nullopt;
  settle(lines::kernel_now());
  return interlock_.epoch();
}

void Overseer::end_trial() {
  const std::scoped_lock lock(mutex_);
  interlock_.end_trial();
  settle(lines::kernel_now());
}

void Overseer::disarm() {
  permit_.take();
  board_.want_power(false);
  const std::scoped_lock lock(mutex_);
  interlock_.disarm();
  armed_ = false;
  permit_.take();  // another thread may have given it again before this one had the lock
}

safety::InterlockState Overseer::state() const {
  const std::scoped_lock lock(mutex_);
  return interlock_.state();
}

std::string Overseer::what_stands() const {
  const std::scoped_lock lock(mutex_);
  std::string names;
  for (const Guard guard : safety::all_guards) {
    if (interlock_.reading(guard) == Reading::good) continue;
    names += (names.empty() ? "" : ", ") + std::string(to_text(guard));
  }
  return names;
}

}  // namespace plexor::run
