#include "virtual/virtual_rig.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <utility>

#include "base/error.hpp"
#include "virtual/dice.hpp"
#include "virtual/durations.hpp"
#include "virtual/firmware.hpp"

namespace plexor::virtual_rig {

namespace {

using base::Instant;

/// Of a blow at a usual speed; the usual one where nothing says what the surface is.
double surface_restitution(const Simulation& simulation) {
  constexpr double usual_m_s = 0.9;
  if (!simulation.sensor) return physics::Solenoid{}.surface_restitution;
  return blow_of(simulation.tapper, simulation.sensor->surface, usual_m_s).restitution;
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

std::string_view to_text(Truth::Kind kind) {
  constexpr std::array names{"contact", "click", "disturbance"};
  return names[static_cast<std::size_t>(kind)];
}

VirtualRig::VirtualRig(const rig::RigFile& rig, const Simulation& simulation, std::uint64_t seed,
                       bool lifted, TruthTeller tell)
    : simulation_(simulation),
      contact_(rig.contact),
      lifted_(lifted),
      tell_(std::move(tell)),
      tapper_(rig.coil, simulation.tapper, surface_restitution(simulation), seed) {
  if (simulation.sensor) {
    sensor_.emplace(*simulation.sensor, seed);
    for (const DisturbanceSettings& one : simulation.sensor->disturbances) {
      markers_.emplace_back(one.marked_tail.value_or(base::Duration{}));
    }
  }
  for (std::uint32_t i = 0; i < simulation.devices.size(); ++i) {
    const bool is_told = i < simulation.lives.size();
    units_.push_back({make_device(simulation, i, seed),
                      DeviceLife(is_told ? simulation.lives[i] : LifeSettings{})});
  }
  for (std::uint32_t i = 0; i < rig.channels.size(); ++i) {
    const std::uint32_t device = rig.channels[i].device.value();
    const auto& firmware = std::get<FirmwareSettings>(simulation.devices.at(device));
    streams_.push_back(
        {i, device,
         FrontEnd(simulation.sensor.value().front_end, firmware.sensitivity, device, seed)});
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
  ++firings_;
  for (std::uint32_t tap = 0; tap < pulses.size(); ++tap) {
    const Instant begin = std::max(tapper_.begin_of(pulses[tap].on), busy_until_);
    const base::Pulse pulse{begin, pulses[tap].on_time};
    timeline_.emplace(begin, Happening{Happening::Kind::pulse_begins, firings_, tap, pulse});
    busy_until_ = pulse.off();
  }
}

void VirtualRig::set_power(std::uint32_t device, bool on) {
  Unit& unit = units_.at(device);
  unit.life.set_power(on, now_);
  if (!unit.life.works()) unit.device->restart();
}

void VirtualRig::begin_pulse(const Happening& begun) {
  energised_ = begun;
  touched_ = 0;
  if (sensor_) sensor_->pick_up(simulation_.tapper.pick_up_mv);
  schedule(tapper_.strike(begun.pulse), begun);
}

/// What is still to come of a stroke: a pulse that was cut has had its first part, and the contacts
/// in it are not made again.
void VirtualRig::schedule(const Stroke& stroke, const Happening& begun) {
  const auto add = [&](Happening::Kind kind, Instant at, double speed_m_s) {
    Happening next{kind, begun.firing, begun.tap, stroke.pulse, speed_m_s, stroke.coil_c};
    timeline_.emplace(at, next);
  };
  add(Happening::Kind::pulse_ends, stroke.pulse.off(), 0.0);
  if (stroke.flag && stroke.flag->first > now_) {
    Happening flag{Happening::Kind::flag, begun.firing, begun.tap, stroke.pulse};
    flag.covered = stroke.flag->second;
    timeline_.emplace(stroke.flag->first, flag);
  }
  for (std::size_t i = touched_; i < stroke.contacts.size(); ++i) {
    const Arrival& contact = stroke.contacts[i];
    add(Happening::Kind::contact, std::max(contact.at, now_), contact.speed_m_s);
  }
  if (stroke.click && stroke.click->at > now_)
    add(Happening::Kind::click, stroke.click->at, stroke.click->speed_m_s);
}

void VirtualRig::make_safe() noexcept {
  if (busy_until_ <= now_) return;
  busy_until_ = now_;
  std::erase_if(timeline_, [&](const auto& entry) {
    const Happening& one = entry.second;
    const bool of_this_pulse = energised_ && one.pulse.on == energised_->pulse.on;
    return one.kind == Happening::Kind::pulse_begins ||
           (of_this_pulse && one.kind != Happening::Kind::blow &&
            one.kind != Happening::Kind::disturbance_fades);
  });
  // The plunger goes on with what it has: slower, or not as far as the surface.
  if (energised_) schedule(tapper_.cut(now_), *energised_);
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
      for (Unit& unit : units_) {
        if (unit.life.works()) unit.device->hear(stretch);
      }
      stream(stretch);
      continue;
    }
    now_ = stop;
    if (!happen()) return;
  }
}

Instant VirtualRig::next_stop(Instant deadline) const {
  Instant stop = std::min(deadline, next_of_a_device());
  if (!timeline_.empty()) stop = std::min(stop, timeline_.begin()->first);
  if (!observations_.empty()) stop = std::min(stop, observations_.begin()->first);
  if (sensor_) stop = std::min(stop, sensor_->next_disturbance());
  return std::max(stop, now_);
}

Instant VirtualRig::next_of_a_device() const {
  Instant next = Instant::max();
  for (const Unit& unit : units_) {
    next = std::min({next, unit.device->decides_at(), unit.life.next()});
  }
  return next;
}

bool VirtualRig::happen() {
  if (!timeline_.empty() && timeline_.begin()->first <= now_) {
    const auto happening = timeline_.extract(timeline_.begin());
    happen(happening.mapped());
    return true;
  }
  if (sensor_ && sensor_->next_disturbance() <= now_) {
    disturb();
    return true;
  }
  return live_one();
}

void VirtualRig::happen(const Happening& happening) {
  switch (happening.kind) {
    case Happening::Kind::pulse_begins: return begin_pulse(happening);
    case Happening::Kind::pulse_ends:
      energised_.reset();
      if (sensor_) sensor_->pick_up(simulation_.tapper.pick_up_mv);
      return observe(rig::PulseFired{happening.tap, happening.pulse});
    case Happening::Kind::flag: return observe(rig::GatePassed{happening.covered, now_});
    case Happening::Kind::contact:
      ++touched_;
      return lifted_ ? hit_a_stop(happening) : touch(happening);
    case Happening::Kind::click: return hit_a_stop(happening);
    case Happening::Kind::blow:
      if (sensor_) sensor_->strike(happening.blow, now_);
      return;
    case Happening::Kind::disturbance_fades: return tell_disturbance(happening.tap);
  }
}

void VirtualRig::touch(const Happening& contact) {
  Truth truth{.kind = Truth::Kind::contact,
              .at = now_,
              .firing = contact.firing,
              .tap = contact.tap,
              .speed_m_s = contact.speed_m_s,
              .coil_c = contact.coil_c};
  if (sensor_) {
    const physics::ImpactResult impact =
        blow_of(simulation_.tapper, simulation_.sensor->surface, contact.speed_m_s);
    truth.peak_force_n = impact.peak_force_n;
    truth.contact_s = impact.contact_s;
    Happening blow = contact;
    blow.kind = Happening::Kind::blow;
    blow.blow = physics::force_pulse(impact);
    blow.blow.impulse_ns *= tapper_.blow_scatter(simulation_.sensor->surface.amplitude_cv);
    timeline_.emplace(now_ + duration_of(blow.blow.middle_s), blow);
  }
  tell_(truth);
  for (Unit& unit : units_) {
    if (unit.life.works()) unit.device->feel(now_);
  }
  sense_contact();
}

void VirtualRig::sense_contact() {
  const bool shows = contact_.kind == rig::ContactKind::coil_current ? energised_.has_value()
                                                                     : contact_.is_sensed();
  if (shows) observe(rig::ContactSensed{now_});
}

/// The plunger reaches a stop of the tapper itself, whose frame brings a share of the blow to the
/// surface: the back stop on its return, and the front one if no surface is in its way.
void VirtualRig::hit_a_stop(const Happening& click) {
  tell_({.kind = Truth::Kind::click,
         .at = now_,
         .firing = click.firing,
         .tap = click.tap,
         .speed_m_s = click.speed_m_s,
         .coil_c = click.coil_c});
  if (!sensor_ || simulation_.tapper.click_share == 0.0) return;
  Happening blow = click;
  blow.kind = Happening::Kind::blow;
  blow.blow = click_of(simulation_.tapper, click.speed_m_s);
  timeline_.emplace(now_ + duration_of(blow.blow.middle_s), blow);
}

void VirtualRig::disturb() {
  const std::size_t kind = sensor_->disturb();
  const bool lands = std::holds_alternative<Blow>(simulation_.sensor->disturbances[kind].cause);
  if (lands && contact_.only_confirms()) sense_contact();
  mark(static_cast<std::uint32_t>(kind));
  tell_({.kind = Truth::Kind::disturbance,
         .at = now_,
         .firing = firings_,
         .name = simulation_.sensor->disturbances[kind].name});
}

void VirtualRig::mark(std::uint32_t kind) {
  if (!simulation_.sensor->disturbances[kind].marked_tail) return;
  markers_[kind].take(true, now_);
  markers_[kind].take(false, now_);
  timeline_.emplace(*markers_[kind].settles_at(),
                    Happening{Happening::Kind::disturbance_fades, firings_, kind, {}});
}

/// Not yet, if it has come again meanwhile.
void VirtualRig::tell_disturbance(std::uint32_t kind) {
  const auto span = markers_[kind].settled(now_);
  if (!span) return;
  const std::string& name = simulation_.sensor->disturbances[kind].name;
  observe(rig::DisturbanceSensed{name, "simulated line", span->from, span->to, now_});
}

/// One device makes up its mind, hangs, or has started again.
bool VirtualRig::live_one() {
  for (auto& [device, life] : units_) {
    if (life.next() <= now_) {
      life.change();
      device->restart();
      return true;
    }
    if (device->decides_at() > now_) continue;
    const auto event = device->decide();
    if (event && life.works()) observe(*event);
    return true;
  }
  return false;
}

void VirtualRig::stream(const Sensor::Stretch& stretch) {
  const base::Duration period = simulation_.sensor.value().front_end.period();
  for (Streamed& streamed : streams_) {
    if (!units_.at(streamed.device).life.works()) continue;
    rig::SamplesHeard heard{.channel = streamed.channel,
                            .first = base::segment_start + stretch.first * period,
                            .period = period,
                            .values = std::vector<std::int32_t>(stretch.count)};
    streamed.front_end.convert(stretch.first, stretch.signal_mv, heard.values);
    observe(heard);
  }
}

void VirtualRig::observe(const rig::Observation& observation) {
  observations_.emplace(rig::instant_of(observation), observation);
}

}  // namespace plexor::virtual_rig
