#include "virtual/virtual_rig.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <stdexcept>

#include "base/error.hpp"
#include "virtual/dice.hpp"
#include "virtual/firmware.hpp"

namespace plexor::virtual_rig {

namespace {

using base::Instant;

const rig::Calibration& calibration_of(const rig::RigFile& rig) {
  if (!rig.calibration) throw std::logic_error("a virtual rig needs a calibration");
  return *rig.calibration;
}

std::unique_ptr<SimulatedDevice> make_device(const Simulation& simulation, std::uint32_t index,
                                             std::uint64_t seed) {
  const DeviceSettings& settings = simulation.devices[index];
  if (const auto* dice = std::get_if<DiceSettings>(&settings)) {
    return std::make_unique<Dice>(*dice, index, seed);
  }
  return std::make_unique<Firmware>(std::get<FirmwareSettings>(settings),
                                    simulation.sensor.value().front_end, index, seed);
}

}  // namespace

VirtualRig::VirtualRig(const rig::RigFile& rig, const Simulation& simulation, std::uint64_t seed,
                       bool lifted)
    : tip_switch_(rig.contact == rig::ContactKind::tip_switch),
      lifted_(lifted),
      pick_up_mv_(simulation.tapper.pick_up_mv),
      tapper_(calibration_of(rig), simulation.tapper, seed) {
  if (simulation.sensor) sensor_.emplace(*simulation.sensor, seed);
  for (std::uint32_t i = 0; i < simulation.devices.size(); ++i) {
    devices_.push_back(make_device(simulation, i, seed));
  }
}

void VirtualRig::check(std::span<const base::Pulse> pulses) const {
  if (busy_until_ > now_) {
    throw base::RigFault(fmt::format("pulses are still pending until {:.3f} s",
                                     base::to_s(busy_until_.time_since_epoch())));
  }
  Instant free_from = now_;
  std::size_t number = 1;
  for (const base::Pulse& pulse : pulses) {
    if (pulse.on < free_from || pulse.on_time <= base::Duration::zero()) {
      throw base::RigFault(fmt::format(
          "pulse {} (on at {:.6f} s for {:.3f} ms) is empty, in the past, or overlaps the one "
          "before: the coil is free from {:.6f} s",
          number, base::to_s(pulse.on.time_since_epoch()), base::to_ms(pulse.on_time),
          base::to_s(free_from.time_since_epoch())));
    }
    free_from = pulse.off();
    ++number;
  }
}

void VirtualRig::fire(std::span<const base::Pulse> pulses) {
  check(pulses);
  for (std::uint32_t tap = 0; tap < pulses.size(); ++tap) {
    const Stroke stroke = tapper_.strike(pulses[tap], busy_until_);
    schedule(stroke, tap);
    busy_until_ = stroke.actual.off();
  }
}

void VirtualRig::schedule(const Stroke& stroke, std::uint32_t tap) {
  using Kind = Happening::Kind;
  const base::Pulse& pulse = stroke.actual;
  timeline_.emplace(pulse.on, Happening{Kind::switched_on, tap, pulse});
  timeline_.emplace(pulse.off(), Happening{Kind::switched_off, tap, pulse});
  if (lifted_) return;
  for (const auto& contact : {stroke.first, stroke.second}) {
    if (contact) {
      timeline_.emplace(contact->at, Happening{Kind::contact, tap, pulse, contact->speed_m_s});
    }
  }
}

void VirtualRig::make_safe() noexcept {
  if (busy_until_ <= now_) return;
  std::erase_if(timeline_, [&](const auto& entry) { return entry.second.pulse.on >= now_; });
  cut_short(now_);
  busy_until_ = now_;
}

/// The pulse that is on ends at `at`. Its plunger goes on with what it has: slower, or not at all.
void VirtualRig::cut_short(Instant at) noexcept {
  for (auto entry = timeline_.begin(); entry != timeline_.end();) {
    auto current = entry++;
    Happening& happening = current->second;
    if (happening.pulse.off() <= at) continue;  // ended before; its plunger may still be on the way
    happening.pulse.on_time = at - happening.pulse.on;
    if (happening.kind == Happening::Kind::switched_off) {
      auto node = timeline_.extract(current);
      node.key() = at;
      timeline_.insert(
          std::move(node));  // no allocation; `entry` still points to its old successor
    } else if (const auto speed = tapper_.speed_of(happening.pulse.on_time)) {
      happening.speed_m_s = *speed;
    } else {
      timeline_.erase(current);
    }
  }
}

std::optional<rig::Observation> VirtualRig::observe_until(Instant deadline) {
  advance_to(std::max(deadline, now_));
  if (observations_.empty() || observations_.begin()->first > now_) return std::nullopt;
  rig::Observation first = std::move(observations_.begin()->second);
  observations_.erase(observations_.begin());
  return first;
}

void VirtualRig::advance_to(Instant deadline) {
  for (;;) {
    const Instant stop = next_stop(deadline);
    if (sensor_ && sensor_->next_sample_at() < stop) {
      // At most one block: what it holds may bring a decision before `stop`.
      const Sensor::Stretch stretch = sensor_->listen(stop);
      for (auto& device : devices_) device->hear(stretch);
      continue;
    }
    now_ = stop;
    if (!happen()) return;
  }
}

Instant VirtualRig::next_stop(Instant deadline) const {
  Instant stop = std::min(deadline, next_decision());
  if (!timeline_.empty()) stop = std::min(stop, timeline_.begin()->first);
  if (!observations_.empty()) stop = std::min(stop, observations_.begin()->first);
  if (sensor_) stop = std::min(stop, sensor_->next_disturbance());
  return std::max(stop, now_);
}

Instant VirtualRig::next_decision() const {
  Instant next = Instant::max();
  for (const auto& device : devices_) next = std::min(next, device->decides_at());
  return next;
}

bool VirtualRig::happen() {
  if (!timeline_.empty() && timeline_.begin()->first <= now_) {
    const Happening happening = timeline_.begin()->second;
    timeline_.erase(timeline_.begin());
    happen(happening);
    return true;
  }
  if (sensor_ && sensor_->next_disturbance() <= now_) {
    sensor_->disturb();
    return true;
  }
  return decide_one();
}

void VirtualRig::happen(const Happening& happening) {
  switch (happening.kind) {
    case Happening::Kind::switched_on:
      if (sensor_) sensor_->pick_up(pick_up_mv_, now_);
      break;
    case Happening::Kind::switched_off:
      if (sensor_) sensor_->pick_up(pick_up_mv_, now_);
      observe(rig::PulseFired{happening.tap, happening.pulse});
      break;
    case Happening::Kind::contact:
      if (sensor_) sensor_->strike(happening.speed_m_s, now_);
      for (auto& device : devices_) device->feel(now_);
      if (tip_switch_) observe(rig::ContactSensed{now_});
      break;
  }
}

bool VirtualRig::decide_one() {
  for (auto& device : devices_) {
    if (device->decides_at() > now_) continue;
    if (const auto event = device->decide()) observe(*event);
    return true;
  }
  return false;
}

void VirtualRig::observe(const rig::Observation& observation) {
  observations_.emplace(rig::instant_of(observation), observation);
}

}  // namespace plexor::virtual_rig
