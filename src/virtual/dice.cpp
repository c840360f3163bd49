#include "virtual/dice.hpp"

#include <algorithm>

#include "base/random.hpp"
#include "virtual/durations.hpp"
#include "virtual/physics/elementary.hpp"

namespace plexor::virtual_rig {

namespace {

using base::Duration;
using base::Instant;

// What a draw is for: the key's tap.
constexpr std::uint32_t draw_detected = 0;
constexpr std::uint32_t draw_spread = 1;
constexpr std::uint32_t draw_alarm_gap = 2;
constexpr std::uint32_t draw_alarm_name = 3;

Duration scaled(Duration unit, double factor) {
  return Duration{static_cast<Duration::rep>(static_cast<double>(unit.count()) * factor)};
}

}  // namespace

Dice::Dice(const DiceSettings& settings, std::uint32_t device, std::uint64_t seed)
    : settings_(settings), device_(device), seed_(seed) {
  if (settings_.false_alarms_per_hour > 0.0) schedule_alarm(base::segment_start);
}

std::uint64_t Dice::bits(std::uint32_t count, std::uint32_t use) const {
  return base::uniform_bits({.seed = seed_,
                             .block = device_,
                             .trial = count,
                             .tap = use,
                             .purpose = base::Purpose::dice});
}

void Dice::schedule_alarm(Instant after) {
  next_alarm_ = after + poisson_gap(settings_.false_alarms_per_hour, bits(alarms_, draw_alarm_gap));
}

Instant Dice::burst_ends_at() const {
  return contacts_.empty() ? Instant::max() : contacts_.back() + settings_.decision_gap;
}

Instant Dice::decides_at() const { return std::min(burst_ends_at(), next_alarm_); }

std::optional<base::Event> Dice::decide() {
  if (next_alarm_ < burst_ends_at()) return false_alarm();
  return answer_burst();
}

base::Event Dice::false_alarm() {
  const std::uint64_t which = bits(alarms_, draw_alarm_name) % settings_.rhythms.size();
  base::Event event{.device = device_,
                    .name = settings_.rhythms[which].name,
                    .arrival = next_alarm_,
                    .device_time = {},
                    .strength = {}};
  ++alarms_;
  schedule_alarm(next_alarm_);
  return event;
}

Duration Dice::latency() const {
  const std::uint64_t drawn = bits(bursts_, draw_spread);
  const bool even = settings_.spread_kind == DiceSettings::Spread::uniform;
  return settings_.latency + scaled(settings_.spread, even ? physics::unit_interval(drawn)
                                                           : physics::exponential(drawn));
}

std::optional<base::Event> Dice::answer_burst() {
  std::vector<Duration> intervals;
  for (std::size_t i = 1; i < contacts_.size(); ++i) {
    intervals.push_back(contacts_[i] - contacts_[i - 1]);
  }
  const Instant arrival = contacts_.back() + latency();
  const bool detected = physics::unit_interval(bits(bursts_, draw_detected)) <= settings_.detects;
  contacts_.clear();
  ++bursts_;
  const auto known = std::find_if(settings_.rhythms.begin(), settings_.rhythms.end(),
                                  [&](const KnownRhythm& r) { return r.matches(intervals); });
  if (!detected || known == settings_.rhythms.end()) return std::nullopt;
  return base::Event{.device = device_,
                     .name = known->name,
                     .arrival = arrival,
                     .device_time = {},
                     .strength = {}};
}

}  // namespace plexor::virtual_rig
