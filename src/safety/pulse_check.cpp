#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <stdexcept>
#include <string>
#include <vector>

#include "safety/limits.hpp"

namespace plexor::safety {

namespace {

using base::Duration;
using base::Instant;
using base::Pulse;
using base::to_ms;
using base::to_s;
using namespace std::chrono_literals;

// 73 years to either side: no sum or difference of two usable instants overflows.
constexpr Instant last_usable{Duration{std::int64_t{1} << 61}};
constexpr Instant first_usable{-Duration{std::int64_t{1} << 61}};

// What would fit is searched in whole milliseconds up to here; nobody waits longer for a coil.
constexpr std::chrono::milliseconds longest_wait = 24h;

bool usable(Instant at) { return at >= first_usable && at <= last_usable; }

Duration overlap(const Pulse& pulse, Instant from, Instant to) {
  return std::max(Duration::zero(), std::min(pulse.off(), to) - std::max(pulse.on, from));
}

double whole_ms_up(Duration d) { return to_ms(std::chrono::ceil<std::chrono::milliseconds>(d)); }

void require_usable(const Limits& limits, const CoilModel& coil, Instant now) {
  if (const auto refusal = check_limits(limits)) {
    throw std::logic_error("limits that cannot protect: " + refusal->reason);
  }
  for (const double value : {coil.supply_v, coil.resistance_20c_ohm, coil.winding_j_k,
                             coil.body_j_k, coil.winding_to_body_k_w, coil.body_to_air_k_w}) {
    if (!(value > 0.0 && std::isfinite(value))) {
      throw std::logic_error("a coil value that is not positive and finite");
    }
  }
  if (!std::isfinite(coil.ambient_c)) throw std::logic_error("an ambient temperature without end");
  if (!usable(now)) throw std::logic_error("an instant beyond 73 years");
}

}  // namespace

PulseCheck::PulseCheck(const Limits& limits, const CoilModel& coil, const CoilPast& past,
                       base::Instant now)
    : limits_(limits), coil_(coil), state_(past.state), state_at_(now) {
  require_usable(limits, coil, now);
  // As one long pulse: that is the worst that the same on time can be for the spans to come.
  const Instant last_off = now - std::min(past.since_last_off, limits.duty_span);
  if (past.on_in_span > Duration::zero()) {
    recent_.push_back({{last_off - past.on_in_span, past.on_in_span}, Duration::zero()});
  }
}

std::optional<Refusal> PulseCheck::check(std::span<const base::Pulse> pulses) const {
  Next next{{}, state_, state_at_, !recent_.empty()};
  for (std::size_t number = 1; number <= pulses.size(); ++number) {
    next.trial = pulses.first(number);
    // The order matters: length and instant make the later sums safe.
    if (auto refusal = check_length(next)) return refusal;
    if (auto refusal = check_instant(next)) return refusal;
    if (auto refusal = check_rest(next)) return refusal;
    if (auto refusal = check_duty(next)) return refusal;
    const Heated heated = heat(next, Duration::zero());
    if (auto refusal = check_coil(next, heated.peak_c)) return refusal;
    next.coil = heated.at_end;
    next.coil_at = next.pulse().off();
    next.after_pulse = true;
  }
  return std::nullopt;
}

std::optional<Refusal> PulseCheck::check_length(const Next& next) const {
  const Duration length = next.pulse().on_time;
  if (length > Duration::zero() && length <= limits_.max_pulse) return std::nullopt;
  return Refusal{"pulse length",
                 fmt::format("pulse {} is {} ms long; more than 0 and at most {} ms would fit",
                             next.number(), to_ms(length), to_ms(limits_.max_pulse))};
}

std::optional<Refusal> PulseCheck::check_instant(const Next& next) const {
  const Instant on = next.pulse().on;
  if (!usable(on) || !usable(next.pulse().off())) {
    return Refusal{"instant",
                   fmt::format("pulse {} begins at {} s; an instant within 73 years would fit",
                               next.number(), to_s(on.time_since_epoch()))};
  }
  if (next.after_pulse || on >= next.coil_at) return std::nullopt;
  return Refusal{"instant", fmt::format("pulse {} begins {} ms in the past; now or later would fit",
                                        next.number(), to_ms(next.coil_at - on))};
}

std::optional<Refusal> PulseCheck::check_rest(const Next& next) const {
  const Duration rest = next.pulse().on - next.coil_at;
  if (!next.after_pulse || rest >= limits_.min_rest) return std::nullopt;
  return Refusal{"rest", fmt::format("pulse {} begins {} ms after the pulse before it ends; a rest "
                                     "of {} ms would fit",
                                     next.number(), to_ms(rest), to_ms(limits_.min_rest))};
}

// On time within a sliding span is greatest where the span ends with a pulse,
// and a later pulse changes nothing in earlier spans: one look for each pulse.
std::optional<Refusal> PulseCheck::check_duty(const Next& next) const {
  const Instant to = next.pulse().off();
  const Instant from = to - limits_.duty_span;
  Duration on = on_until(to) - on_until(from);
  for (const Pulse& pulse : next.trial) on += overlap(pulse, from, to);
  const Duration allowed = allowed_on_in_span(limits_);
  if (on <= allowed) return std::nullopt;
  return Refusal{
      "duty",
      fmt::format("pulse {} brings the on time within {} s to {} ms ({:.3f} %); the limit "
                  "is {} ms ({:.3f} %); beginning {} ms later would fit",
                  next.number(), to_s(limits_.duty_span), to_ms(on),
                  100.0 * to_s(on) / to_s(limits_.duty_span), to_ms(allowed),
                  100.0 * to_s(allowed) / to_s(limits_.duty_span),
                  whole_ms_up(wait_for_duty(next))),
      wait_for_duty(next)};
}

// Going back from the latest pulse, the span may begin where the on time that
// the new pulse leaves room for is used up.
Duration PulseCheck::wait_for_duty(const Next& next) const {
  Duration room = allowed_on_in_span(limits_) - next.pulse().on_time;
  std::vector<Pulse> earlier;
  for (const Given& given : recent_) earlier.push_back(given.pulse);
  earlier.insert(earlier.end(), next.trial.begin(), next.trial.end() - 1);
  for (auto pulse = earlier.rbegin(); pulse != earlier.rend(); ++pulse) {
    if (pulse->on_time > room) {
      return pulse->off() - room + limits_.duty_span - next.pulse().off();
    }
    room -= pulse->on_time;
  }
  return Duration::zero();
}

std::optional<Refusal> PulseCheck::check_coil(const Next& next, double peak_c) const {
  const double limit_c = limits_.max_coil_c - limits_.coil_margin_k;
  const auto fits = [&](Duration wait) { return heat(next, wait).peak_c <= limit_c; };
  if (peak_c <= limit_c) return std::nullopt;
  std::string remedy = "even a day of rest would not be enough";
  std::optional<Duration> later;
  if (fits(longest_wait)) {
    auto too_short = 0ms;
    auto enough = longest_wait;
    while (enough - too_short > 1ms) {
      const auto middle = too_short + (enough - too_short) / 2;
      (fits(middle) ? enough : too_short) = middle;
    }
    remedy = fmt::format("beginning {} ms later would fit", enough.count());
    later = enough;
  }
  return Refusal{
      "coil temperature",
      fmt::format("pulse {} heats the winding to {:.2f} degC; the limit is {} degC less "
                  "a margin of {} K; {}",
                  next.number(), peak_c, limits_.max_coil_c, limits_.coil_margin_k, remedy),
      later};
}

// The winding heats or cools steadily while on, so one of the ends is the hottest.
PulseCheck::Heated PulseCheck::heat(const Next& next, Duration wait) const {
  const Pulse& pulse = next.pulse();
  const CoilState at_on = after(coil_, next.coil, pulse.on - next.coil_at + wait, false);
  const CoilState at_off = after(coil_, at_on, pulse.on_time, true);
  return {at_off, std::max(at_on.winding_c, at_off.winding_c)};
}

void PulseCheck::accept(std::span<const base::Pulse> pulses) {
  for (const Pulse& pulse : pulses) {
    require_not_past(pulse.on);
    if (pulse.on_time < Duration::zero() || pulse.on_time > last_usable - pulse.on) {
      throw std::logic_error("a pulse of negative or endless length");
    }
    const Duration on_before = recent_.empty()
                                   ? Duration::zero()
                                   : recent_.back().on_before + recent_.back().pulse.on_time;
    state_ = after(coil_, coil_at(pulse.on), pulse.on_time, true);
    state_at_ = pulse.off();
    recent_.push_back({pulse, on_before});
  }
  while (recent_.size() > 1 && recent_.front().pulse.off() <= state_at_ - limits_.duty_span) {
    recent_.pop_front();
  }
}

/// On time of all accepted pulses up to `at`, counted from before the oldest that is kept.
Duration PulseCheck::on_until(Instant at) const {
  const auto later =
      std::upper_bound(recent_.begin(), recent_.end(), at,
                       [](Instant moment, const Given& given) { return moment < given.pulse.on; });
  if (later == recent_.begin()) {
    return recent_.empty() ? Duration::zero() : recent_.front().on_before;
  }
  const Given& last = *(later - 1);
  return last.on_before + std::min(last.pulse.on_time, at - last.pulse.on);
}

CoilState PulseCheck::coil_at(base::Instant now) const {
  require_not_past(now);
  return after(coil_, state_, now - state_at_, false);
}

CoilPast PulseCheck::past_at(base::Instant now) const {
  const Duration on = on_until(now) - on_until(now - limits_.duty_span);
  const Duration since = recent_.empty() ? Duration::zero() : now - recent_.back().pulse.off();
  return {coil_at(now), on, since};
}

double PulseCheck::duty_percent_at(base::Instant now) const {
  require_not_past(now);
  const Duration on = on_until(now) - on_until(now - limits_.duty_span);
  return 100.0 * to_s(on) / to_s(limits_.duty_span);
}

void PulseCheck::require_not_past(base::Instant now) const {
  if (now < state_at_ || !usable(now)) {
    throw std::logic_error("the pulse check was asked about its past or beyond 73 years");
  }
}

}  // namespace plexor::safety
