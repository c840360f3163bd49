#include "virtual/sensor.hpp"

#include <algorithm>

#include "base/random.hpp"
#include "virtual/durations.hpp"

namespace plexor::virtual_rig {

namespace {

using base::Duration;
using base::Instant;

/// Envelopes are dropped below this share of a converter step: no code would change by them.
constexpr double silence_lsb = 0.001;

double scattered(double cv, const base::DrawKey& key) {
  return 1.0 + cv * static_cast<double>(base::truncated_normal_q32(key)) / 4294967296.0;
}

/// Diodes to both rails; the disc's bleed resistor returns to half the supply.
physics::Clamp clamp_of(const SensorSettings& settings) {
  constexpr double diode_v = 0.3;
  const double swing_v = settings.front_end.reference_mv / 2e3 + diode_v;
  return {settings.disc.series_ohm, -swing_v, swing_v};
}

/// The tap's, those of the disturbances that land on the surface, then where the tapper may be
/// moved.
std::vector<physics::Spot> spots_of(const SensorSettings& settings) {
  std::vector<physics::Spot> spots{settings.surface.tap};
  for (const DisturbanceSettings& one : settings.disturbances) {
    if (const auto* blow = std::get_if<Blow>(&one.cause)) spots.push_back(blow->at);
  }
  const auto& more = settings.surface.more_taps;
  spots.insert(spots.end(), more.begin(), more.end());
  return spots;
}

}  // namespace

Disturbance::Disturbance(const DisturbanceSettings& settings, std::uint32_t kind,
                         std::uint64_t seed)
    : settings_(settings), kind_(kind), seed_(seed) {
  schedule_arrival(base::segment_start);
}

void Disturbance::schedule_arrival(Instant after) {
  const std::uint64_t bits = base::uniform_bits({.seed = seed_,
                                                 .block = kind_,
                                                 .trial = arrivals_,
                                                 .tap = 0,
                                                 .purpose = base::Purpose::disturbance});
  next_ = after + poisson_gap(settings_.per_hour, bits);
}

double Disturbance::take() {
  base::DrawKey key{.seed = seed_,
                    .block = kind_,
                    .trial = arrivals_,
                    .tap = static_cast<std::uint32_t>(1 + 2 * bump_),
                    .purpose = base::Purpose::disturbance};
  const double strength = scattered(settings_.strength_cv, key);
  if (++bump_ < settings_.bumps) {
    ++key.tap;
    next_ += Duration{
        base::uniform_between(key, settings_.shortest_gap.count(), settings_.longest_gap.count())};
  } else {
    bump_ = 0;
    ++arrivals_;
    schedule_arrival(next_);
  }
  return strength;
}

Sensor::Sensor(const SensorSettings& settings, std::uint64_t seed)
    : period_(settings.front_end.period()),
      silence_v_(silence_lsb *
                 physics::lsb_v({settings.front_end.bits, settings.front_end.reference_mv / 1e3})),
      circuit_(settings.disc.circuit()),
      stepper_(circuit_, base::to_s(period_), clamp_of(settings)),
      surface_(settings.surface, settings.disc, spots_of(settings), period_,
               silence_v_ * circuit_.capacitance_f) {
  std::uint32_t kind = 0;
  std::size_t spot = 0;
  for (const DisturbanceSettings& one : settings.disturbances) {
    Source source{Disturbance(one, kind++, seed), one.cause, 0, {}};
    if (const auto* tremor = std::get_if<Tremor>(&one.cause)) {
      source.ringing.emplace(tremor->ring_hz, base::to_s(tremor->ring), period_, silence_v_ * 1e3);
    } else {
      source.spot = ++spot;
    }
    sources_.push_back(std::move(source));
  }
  for (std::size_t i = 0; i < settings.surface.more_taps.size(); ++i) more_taps_.push_back(++spot);
}

void Sensor::move_tapper(std::size_t spot) { tap_ = more_taps_.at(spot); }

void Sensor::strike(const physics::ForcePulse& blow, Instant middle) {
  surface_.strike(tap_, blow, next_sample_at() - middle);
}

void Sensor::pick_up(double amplitude_mv) {
  pick_up_c_ += amplitude_mv / 1e3 * circuit_.capacitance_f;
}

Instant Sensor::next_disturbance() const {
  Instant next = Instant::max();
  for (const Source& source : sources_) next = std::min(next, source.disturbance.next());
  return next;
}

std::size_t Sensor::disturb() {
  const auto source = std::ranges::min_element(
      sources_, {}, [](const Source& one) { return one.disturbance.next(); });
  const Duration before_next = next_sample_at() - source->disturbance.next();
  const double strength = source->disturbance.take();
  if (const auto* tremor = std::get_if<Tremor>(&source->cause)) {
    source->ringing->excite({strength * tremor->amplitude_mv, 0.0}, before_next);
  } else {
    const Blow& blow = std::get<Blow>(source->cause);
    surface_.strike(source->spot,
                    physics::half_sine_pulse(strength * blow.impulse_ns, base::to_s(blow.contact)),
                    before_next);
  }
  return static_cast<std::size_t>(source - sources_.begin());
}

bool Sensor::silent() const {
  return disc_v_ == 0.0 && charge_c_ == 0.0 && pick_up_c_ == 0.0 && surface_.silent() &&
         std::ranges::all_of(sources_, [](const Source& source) {
           return !source.ringing || source.ringing->silent();
         });
}

/// The disc takes each sample's change of charge, bleeds, and is clamped.
void Sensor::bleed(std::span<double> charge_c_to_pin_mv) {
  for (double& sample : charge_c_to_pin_mv) {
    const bool modes_silent = sample == 0.0 && charge_c_ == 0.0;  // exactly, see Ringing
    disc_v_ = stepper_.after(disc_v_, sample - charge_c_ + pick_up_c_);
    pick_up_c_ = 0.0;
    charge_c_ = sample;
    if (modes_silent && disc_v_ * disc_v_ < silence_v_ * silence_v_) disc_v_ = 0.0;
    sample = stepper_.pin_v(disc_v_) * 1e3;
  }
}

Sensor::Stretch Sensor::listen(Instant end) {
  const std::int64_t wanted = (end - next_sample_at() + period_ - Duration{1}) / period_;
  constexpr auto block_samples = static_cast<std::int64_t>(block);
  const auto count = static_cast<std::size_t>(
      std::clamp<std::int64_t>(wanted, 0, block_samples - next_ % block_samples));
  Stretch stretch{.first = next_, .count = count, .signal_mv = {}};
  if (!silent()) {
    const std::span<double> signal(signal_.data(), count);
    std::ranges::fill(signal, 0.0);
    surface_.add_to(signal);
    bleed(signal);
    for (Source& source : sources_) {
      if (source.ringing) source.ringing->add_to(signal);
    }
    stretch.signal_mv = signal;
  }
  next_ += static_cast<std::int64_t>(count);
  return stretch;
}

}  // namespace plexor::virtual_rig
