#include "virtual/tapper.hpp"

#include <algorithm>

#include "base/random.hpp"

namespace plexor::virtual_rig {

namespace {

using base::Duration;

/// The winding's temperature is taken in these steps, so that equal taps are integrated once.
constexpr std::int64_t temperature_step_mdegc = 100;

std::int64_t in_steps_mdegc(double temperature_c) {
  const double steps = temperature_c * 1e3 / static_cast<double>(temperature_step_mdegc);
  return static_cast<std::int64_t>(steps + 0.5) * temperature_step_mdegc;
}

bool is_turn(std::uint32_t count, std::int64_t every) { return every > 0 && count % every == 0; }

physics::Solenoid with_restitution(physics::Solenoid solenoid, double surface_restitution) {
  solenoid.surface_restitution = surface_restitution;
  return solenoid;
}

}  // namespace

Tapper::Tapper(const safety::CoilModel& coil, const TapperSettings& settings,
               double surface_restitution, std::uint64_t seed)
    : coil_(coil),
      settings_(settings),
      seed_(seed),
      cache_(with_restitution(settings.solenoid, surface_restitution)),
      at_pulse_(safety::cold(coil)),
      after_pulse_(at_pulse_) {}

base::Instant Tapper::begin_of(base::Instant planned) {
  return is_turn(++begun_, settings_.late_every) ? planned + settings_.late : planned;
}

/// Standard normal, truncated at 3 sd, for the last pulse.
double Tapper::normal(base::Purpose purpose, std::uint32_t use) const {
  const base::DrawKey key{.seed = seed_, .trial = pulses_, .tap = use, .purpose = purpose};
  return static_cast<double>(base::truncated_normal_q32(key)) / 4294967296.0;
}

double Tapper::blow_scatter(double cv) const {
  return 1.0 + cv * normal(base::Purpose::tap_amplitude, 0);
}

Duration Tapper::shift_of(const base::Pulse& pulse) const {
  const double hours = base::to_s(pulse.on.time_since_epoch()) / 3600.0;
  const double drift = hours * static_cast<double>(settings_.transit_drift_per_hour.count());
  const double scatter =
      static_cast<double>(settings_.transit_sd.count()) * normal(base::Purpose::transit, 0);
  return Duration{static_cast<Duration::rep>(drift + scatter)};
}

Stroke Tapper::stroke_of(const base::Pulse& pulse) {
  const physics::TapConditions conditions{
      .pulse = pulse.on_time,
      .coil_mdegc = in_steps_mdegc(at_pulse_.winding_c),
      .supply_mv = static_cast<std::int64_t>(coil_.supply_v * 1e3 + 0.5)};
  const physics::TapSummary& tap = cache_.tap(conditions);
  const double speed_scale = 1.0 + settings_.strike_cv * normal(base::Purpose::transit, 1);
  const Duration shift = shift_of(pulse);
  // Scatter moves arrivals, but none of them before the pulse.
  const auto arrival = [&](Duration after_on, double speed_m_s) {
    return Arrival{pulse.on + std::max(after_on + shift, Duration{1}), speed_m_s * speed_scale};
  };
  Stroke stroke{
      .pulse = pulse, .contacts = {}, .click = {}, .flag = {}, .coil_c = at_pulse_.winding_c};
  const bool at_home = was_home_at_ <= pulse.on;
  const bool stays_out = tap.first_motion && !tap.click;
  home_at_ = pulse.on + tap.settled;
  if (at_home && stays_out) home_at_ = base::Instant::max();
  if (!at_home) home_at_ = std::max(was_home_at_, home_at_);
  if (at_home && !is_turn(pulses_, settings_.miss_every)) {
    for (const auto& contact : tap.contacts) {
      stroke.contacts.push_back(arrival(contact.at, contact.speed_m_s));
    }
  }
  if (tap.flag && !stroke.contacts.empty()) {  // on its way to the first contact
    const auto scaled = [&](Duration length) {
      return Duration{static_cast<Duration::rep>(base::to_s(length) * 1e9 / speed_scale)};
    };
    stroke.flag = {stroke.contacts.front().at - scaled(tap.contacts.front().at - tap.flag->out),
                   scaled(tap.flag->out - tap.flag->in)};
  }
  if (at_home && tap.click) stroke.click = arrival(tap.click->at, tap.click->speed_m_s);
  const double power_w =
      pulse.on_time > Duration::zero() ? tap.copper_heat_j / base::to_s(pulse.on_time) : 0.0;
  after_pulse_ = safety::after_at_power(coil_, at_pulse_, pulse.on_time, power_w);
  after_pulse_at_ = pulse.off();
  return stroke;
}

Stroke Tapper::strike(const base::Pulse& pulse) {
  ++pulses_;
  was_home_at_ = home_at_;
  pulse_ = pulse;
  at_pulse_ = safety::after(coil_, after_pulse_, pulse.on - after_pulse_at_, false);
  return stroke_of(pulse);
}

Stroke Tapper::cut(base::Instant at) {
  pulse_.on_time = at - pulse_.on;
  return stroke_of(pulse_);
}

physics::ImpactResult blow_of(const TapperSettings& tapper, const SurfaceSettings& surface,
                              double speed_m_s) {
  return physics::strike(
      {.mass_kg = tapper.solenoid.moving_mass_kg,
       .tip_radius_m = tapper.tip_radius_m,
       .modulus_pa = physics::contact_modulus_pa(tapper.tip, surface.plate.material.elastic),
       .speed_m_s = speed_m_s,
       .damping_s_m = physics::damping_s_m(surface.restitution, speed_m_s),
       .mobility_m_ns = 1.0 / physics::infinite_plate_impedance_ns_m(surface.plate)});
}

physics::ForcePulse click_of(const TapperSettings& tapper, double speed_m_s) {
  constexpr double metal_contact_s = 0.1e-3;
  const physics::Solenoid& solenoid = tapper.solenoid;
  const double impulse_ns = solenoid.moving_mass_kg * speed_m_s * (1.0 + solenoid.back_restitution);
  return physics::half_sine_pulse(tapper.click_share * impulse_ns, metal_contact_s);
}

}  // namespace plexor::virtual_rig
