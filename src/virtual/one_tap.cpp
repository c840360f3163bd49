#include "virtual/one_tap.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "virtual/durations.hpp"
#include "virtual/front_end.hpp"
#include "virtual/physics/solenoid.hpp"
#include "virtual/sensor.hpp"
#include "virtual/tapper.hpp"

namespace plexor::virtual_rig {

namespace {

using base::Instant;
using namespace std::chrono_literals;

/// Rings down on every shipped surface within this time.
constexpr base::Duration looked_at = 300ms;
constexpr std::int64_t fine_rate_hz = 100'000;

/// Something that the sensor feels at an instant.
struct Felt {
  Instant at;
  bool coil_switched = false;
  physics::ForcePulse blow{};  ///< where it is not the coil
};

/// All that one tap brings to the sensor, in time order.
std::vector<Felt> felt_of(const physics::TapSummary& summary, base::Duration on_time,
                          const TapperSettings& tapper, const SurfaceSettings& surface) {
  std::vector<Felt> felt{{base::segment_start, true}, {base::segment_start + on_time, true}};
  const auto add = [&](base::Duration touched, physics::ForcePulse blow) {
    const Instant middle = base::segment_start + touched + duration_of(blow.middle_s);
    felt.push_back({middle, false, std::move(blow)});
  };
  for (const physics::TipContact& contact : summary.contacts) {
    add(contact.at, physics::force_pulse(blow_of(tapper, surface, contact.speed_m_s)));
  }
  if (summary.click) add(summary.click->at, click_of(tapper, summary.click->speed_m_s));
  std::ranges::stable_sort(felt, {}, &Felt::at);
  return felt;
}

/// The signal at the converter's pin, at the sampling rate of the settings.
std::vector<TraceSample> pin_signal(const SensorSettings& settings, const std::vector<Felt>& felt,
                                    double pick_up_mv) {
  Sensor sensor(settings, 0);
  std::vector<TraceSample> signal;
  const auto listen_until = [&](Instant end) {
    while (sensor.next_sample_at() < end) {
      const auto stretch = sensor.listen(end);
      for (std::size_t i = 0; i < stretch.count; ++i) {
        const auto sample = static_cast<double>(stretch.first + static_cast<std::int64_t>(i));
        signal.push_back({sample / static_cast<double>(settings.front_end.rate_hz),
                          stretch.signal_mv.empty() ? 0.0 : stretch.signal_mv[i]});
      }
    }
  };
  for (const Felt& one : felt) {
    listen_until(one.at);
    if (one.coil_switched) {
      sensor.pick_up(pick_up_mv);
    } else {
      sensor.strike(one.blow, one.at);
    }
  }
  listen_until(base::segment_start + looked_at);
  return signal;
}

std::vector<TraceSample> codes_of(const FrontEndSettings& settings,
                                  const std::vector<TraceSample>& pin_mv) {
  FrontEnd front_end(settings, 1.0, 0, 0);
  std::vector<TraceSample> codes;
  std::array<double, FrontEnd::block> signal{};
  std::array<std::int32_t, FrontEnd::block> converted{};
  for (std::size_t first = 0; first < pin_mv.size(); first += FrontEnd::block) {
    const std::size_t count = std::min(FrontEnd::block, pin_mv.size() - first);
    for (std::size_t i = 0; i < count; ++i) signal[i] = pin_mv[first + i].value;
    front_end.convert(static_cast<std::int64_t>(first), {signal.data(), count},
                      {converted.data(), count});
    for (std::size_t i = 0; i < count; ++i) {
      codes.push_back({pin_mv[first + i].time_s, static_cast<double>(converted[i])});
    }
  }
  return codes;
}

/// Of the signal without pick-up: what the blows alone bring.
void measure_ringing(OneTap& tap, const std::vector<TraceSample>& signal) {
  for (const TraceSample& sample : signal) {
    tap.peak_pin_mv = std::max(tap.peak_pin_mv, std::abs(sample.value));
  }
  for (const TraceSample& sample : signal) {
    if (std::abs(sample.value) < tap.peak_pin_mv / 10.0) continue;
    tap.ring_down_s = std::max(tap.ring_down_s, sample.time_s - tap.contact_s);
  }
}

std::vector<double> lowest_modes_hz(const SurfaceSettings& surface) {
  constexpr double far_above_hz = 20'000.0;
  std::vector<double> lowest;
  for (const auto& mode :
       physics::ringing_modes(surface.plate, surface.tap, surface.sensor, far_above_hz)) {
    if (lowest.size() < 3) lowest.push_back(mode.hz);
  }
  return lowest;
}

}  // namespace

std::optional<OneTap> one_tap(const rig::RigFile& rig, const Simulation& simulation,
                              base::StrikeSpeed strike) {
  if (!simulation.sensor || !rig.calibration) return std::nullopt;
  OneTap tap;
  const auto coil_mdegc = static_cast<std::int64_t>(rig.coil.ambient_c * 1e3);
  const auto supply_mv = static_cast<std::int64_t>(rig.coil.supply_v * 1e3);
  tap.on_time = rig.calibration->at(strike, {coil_mdegc, supply_mv}).on_time;
  physics::Solenoid solenoid = simulation.tapper.solenoid;
  const SurfaceSettings& surface = simulation.sensor->surface;
  solenoid.surface_restitution =
      blow_of(simulation.tapper, surface, base::to_m_s(strike)).restitution;
  physics::TapTrace trace;
  const physics::TapSummary summary = physics::tap(
      solenoid, {.pulse = tap.on_time, .coil_mdegc = coil_mdegc, .supply_mv = supply_mv}, &trace);
  if (!summary.landed()) return std::nullopt;
  const physics::TipContact& contact = summary.contacts.front();
  const physics::ImpactResult impact = blow_of(simulation.tapper, surface, contact.speed_m_s);
  tap.contact_s = base::to_s(contact.at);
  tap.strike_m_s = contact.speed_m_s;
  tap.energy_j = contact.energy_j;
  tap.peak_force_n = impact.peak_force_n;
  tap.contact_time_s = impact.contact_s;
  tap.restitution = impact.restitution;
  tap.contacts = summary.contacts.size();
  if (summary.click) tap.click_s = base::to_s(summary.click->at);
  for (const physics::TracePoint& point : trace.points) {
    tap.current_a.push_back({point.time_s, point.current_a});
    tap.plunger_m.push_back({point.time_s, point.position_m});
  }
  for (const physics::ForcePoint& point : impact.points) {
    tap.force_n.push_back({tap.contact_s + point.time_s, point.force_n});
  }
  SensorSettings undisturbed = *simulation.sensor;
  undisturbed.disturbances.clear();
  const std::vector<Felt> felt = felt_of(summary, tap.on_time, simulation.tapper, surface);
  const double pick_up_mv = simulation.tapper.pick_up_mv;
  tap.codes = codes_of(undisturbed.front_end, pin_signal(undisturbed, felt, pick_up_mv));
  undisturbed.front_end.rate_hz = fine_rate_hz;
  tap.pin_mv = pin_signal(undisturbed, felt, pick_up_mv);
  measure_ringing(tap, pin_signal(undisturbed, felt, 0.0));
  tap.lowest_modes_hz = lowest_modes_hz(surface);
  return tap;
}

}  // namespace plexor::virtual_rig
