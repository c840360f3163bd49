#pragma once

#include <algorithm>
#include <deque>
#include <optional>
#include <set>
#include <utility>
#include <vector>

#include "base/error.hpp"
#include "rig/calibration.hpp"
#include "rig/ports.hpp"

namespace plexor::run {

/// What goes wrong, as data. Pulses count from 1 over the whole run.
struct Script {
  std::set<int> no_contact{};             ///< these pulses do not land
  std::set<int> second_contact{};         ///< these land twice
  std::set<int> not_given{};              ///< these never reach the coil
  std::set<int> stretched{};              ///< these last 5 ms too long
  std::set<int> endless{};                ///< these last 200 ms
  std::set<int> late{};                   ///< these begin 10 ms late
  std::optional<int> transit_moves_at{};  ///< from this pulse on the transit is 5 ms longer
  std::optional<base::Instant> listener_down_at{};
  base::Duration noticed_after{};  ///< so much later than it is down, that is told
  std::optional<base::Instant> listener_up_at{};
  std::optional<rig::LeaveEnded> leave_ends{};  ///< no pulse is given from its instant on
  std::optional<base::Instant> hangs_at{};  ///< from then on it answers only once its power was cut
  bool hangs_again = false;                 ///< not even then
  bool answers = true;  ///< the device answers each burst 300 ms after its last contact
};

/// A rig of virtual time that lands every pulse after its calibrated transit, except as scripted.
class ScriptedRig : public rig::Actuator,
                    public rig::Senses,
                    public rig::Clock,
                    public rig::PowerSwitch {
 public:
  ScriptedRig(const rig::Calibration& calibration, Script script)
      : calibration_(calibration), script_(std::move(script)) {
    if (script_.listener_down_at)
      unnoticed_ = rig::ListenerChanged{0, false, *script_.listener_down_at};
    if (script_.listener_up_at) push(rig::ListenerChanged{0, true, *script_.listener_up_at});
    if (script_.leave_ends) push(*script_.leave_ends);
  }

  void fire(std::span<const base::Pulse> pulses) override {
    if (now_ < busy_until_) throw base::RigFault("pulses are still pending");
    for (std::uint32_t tap = 0; tap < pulses.size(); ++tap) land(tap, pulses[tap]);
    busy_until_ = pulses.back().off();
    if (script_.answers && !(script_.hangs_at && pulses.front().on >= *script_.hangs_at)) {
      base::Event event;
      event.name = "call";
      event.arrival = pulses.back().on + std::chrono::milliseconds{320};
      push(event);
    }
    fired.insert(fired.end(), pulses.begin(), pulses.end());
  }

  void make_safe() noexcept override { ++made_safe; }

  void set_power(std::uint32_t, bool on) override {
    switched.push_back({on, now_});
    if (on && !script_.hangs_again) script_.hangs_at.reset();
  }

  std::optional<rig::Observation> observe_until(base::Instant deadline) override {
    if (unnoticed_ && is_next(unnoticed_->at + script_.noticed_after, deadline)) {
      now_ = std::max(now_, unnoticed_->at + script_.noticed_after);
      return *std::exchange(unnoticed_, std::nullopt);
    }
    if (!coming_.empty() && instant_of(coming_.front()) <= deadline) {
      rig::Observation observation = coming_.front();
      coming_.pop_front();
      now_ = std::max(now_, instant_of(observation));
      return observation;
    }
    now_ = std::max(now_, deadline);
    return std::nullopt;
  }

  [[nodiscard]] base::Instant now() const override { return now_; }

  std::vector<base::Pulse> fired;
  int made_safe = 0;
  struct Switched {
    bool on;
    base::Instant at;
  };
  std::vector<Switched> switched;

 private:
  void land(std::uint32_t tap, base::Pulse pulse) {
    const int number = ++pulses_;
    if (script_.late.contains(number)) pulse.on += std::chrono::milliseconds{10};
    if (script_.not_given.contains(number)) return;
    if (script_.leave_ends && pulse.on >= script_.leave_ends->at) return;
    if (script_.stretched.contains(number)) pulse.on_time += std::chrono::milliseconds{5};
    if (script_.endless.contains(number)) pulse.on_time = std::chrono::milliseconds{200};
    push(rig::PulseFired{tap, pulse});
    if (script_.no_contact.contains(number)) return;
    base::Instant contact = pulse.on + transit_of(pulse.on_time);
    if (script_.transit_moves_at && number >= *script_.transit_moves_at) {
      contact += std::chrono::milliseconds{5};
    }
    push(rig::ContactSensed{contact});
    if (script_.second_contact.contains(number)) {
      push(rig::ContactSensed{contact + std::chrono::milliseconds{25}});
    }
  }

  [[nodiscard]] base::Duration transit_of(base::Duration on_time) const {
    const auto& points = calibration_.curves.front().points;
    const auto point = std::find_if(points.begin(), points.end(),
                                    [&](const auto& p) { return p.on_time >= on_time; });
    return (point == points.end() ? points.back() : *point).transit;
  }

  [[nodiscard]] bool is_next(base::Instant at, base::Instant deadline) const {
    return at <= deadline && (coming_.empty() || at <= instant_of(coming_.front()));
  }

  void push(rig::Observation observation) {
    const auto before = [](const rig::Observation& a, const rig::Observation& b) {
      return instant_of(a) < instant_of(b);
    };
    coming_.insert(std::upper_bound(coming_.begin(), coming_.end(), observation, before),
                   std::move(observation));
  }

  const rig::Calibration& calibration_;
  Script script_;
  std::deque<rig::Observation> coming_;
  std::optional<rig::ListenerChanged> unnoticed_;
  base::Instant now_ = base::segment_start;
  base::Instant busy_until_ = base::segment_start;
  int pulses_ = 0;
};

}  // namespace plexor::run
