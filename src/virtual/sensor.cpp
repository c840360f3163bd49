#include "virtual/sensor.hpp"

#include <algorithm>

#include "base/random.hpp"
#include "virtual/physics/basic_math.hpp"

namespace plexor::virtual_rig {

namespace {

using base::Duration;
using base::Instant;

constexpr double nanoseconds_per_hour = 3.6e12;
/// Envelopes are dropped below this share of a converter step: no code would change by them.
constexpr double silence_lsb = 0.001;

double scattered(double amplitude, double cv, const base::DrawKey& key) {
  const double z = static_cast<double>(base::truncated_normal_q32(key)) / 4294967296.0;
  return amplitude * (1.0 + cv * z);
}

}  // namespace

Disturbance::Disturbance(const DisturbanceSettings& settings, std::uint32_t kind,
                         std::uint64_t seed)
    : settings_(settings), kind_(kind), seed_(seed) {
  schedule_arrival(base::segment_start);
}

void Disturbance::schedule_arrival(Instant after) {
  const double mean = nanoseconds_per_hour / settings_.per_hour;
  const std::uint64_t bits = base::uniform_bits({.seed = seed_,
                                                 .block = kind_,
                                                 .trial = arrivals_,
                                                 .tap = 0,
                                                 .purpose = base::Purpose::disturbance});
  next_ = after + Duration{static_cast<Duration::rep>(mean * physics::exponential(bits))};
}

double Disturbance::take() {
  base::DrawKey key{.seed = seed_,
                    .block = kind_,
                    .trial = arrivals_,
                    .tap = static_cast<std::uint32_t>(1 + 2 * bump_),
                    .purpose = base::Purpose::disturbance};
  const double amplitude = scattered(settings_.amplitude_mv, settings_.amplitude_cv, key);
  if (++bump_ < settings_.bumps) {
    ++key.tap;
    next_ += Duration{
        base::uniform_between(key, settings_.shortest_gap.count(), settings_.longest_gap.count())};
  } else {
    bump_ = 0;
    ++arrivals_;
    schedule_arrival(next_);
  }
  return amplitude;
}

Sensor::Sensor(const SensorSettings& settings, std::uint64_t seed)
    : surface_(settings.surface),
      seed_(seed),
      period_(Duration{std::chrono::seconds{1}} / settings.front_end.rate_hz) {
  const double lsb_mv = settings.front_end.reference_mv / (1 << settings.front_end.bits);
  const double silence_mv = silence_lsb * lsb_mv;
  for (const Mode& mode : surface_.modes) modes_.emplace_back(mode, period_, silence_mv);
  std::uint32_t kind = 0;
  for (const DisturbanceSettings& one : settings.disturbances) {
    disturbances_.push_back(
        {Disturbance(one, kind++, seed), Ringing(one.mode, period_, silence_mv)});
  }
}

void Sensor::excite_surface(double amplitude_mv, Instant at) {
  for (std::size_t i = 0; i < modes_.size(); ++i) {
    modes_[i].excite(amplitude_mv * surface_.modes[i].share, next_sample_at() - at);
  }
}

void Sensor::strike(double speed_m_s, Instant at) {
  const base::DrawKey key{
      .seed = seed_, .trial = blows_++, .purpose = base::Purpose::tap_amplitude};
  excite_surface(scattered(surface_.gain_mv_per_m_s * speed_m_s, surface_.amplitude_cv, key), at);
}

void Sensor::pick_up(double amplitude_mv, Instant at) { excite_surface(amplitude_mv, at); }

std::vector<Sensor::DisturbanceSource>::iterator Sensor::soonest() {
  return std::min_element(
      disturbances_.begin(), disturbances_.end(),
      [](const auto& a, const auto& b) { return a.disturbance.next() < b.disturbance.next(); });
}

Instant Sensor::next_disturbance() const {
  Instant next = Instant::max();
  for (const auto& source : disturbances_) next = std::min(next, source.disturbance.next());
  return next;
}

void Sensor::disturb() {
  const auto source = soonest();
  const Instant at = source->disturbance.next();
  source->ringing.excite(source->disturbance.take(), next_sample_at() - at);
}

bool Sensor::silent() const {
  return std::all_of(modes_.begin(), modes_.end(), [](const Ringing& m) { return m.silent(); }) &&
         std::all_of(disturbances_.begin(), disturbances_.end(),
                     [](const auto& source) { return source.ringing.silent(); });
}

Sensor::Stretch Sensor::listen(Instant end) {
  const std::int64_t wanted = (end - next_sample_at() + period_ - Duration{1}) / period_;
  const auto count = static_cast<std::size_t>(
      std::clamp<std::int64_t>(wanted, 0, static_cast<std::int64_t>(block)));
  Stretch stretch{.first = next_, .count = count, .signal_mv = {}};
  if (!silent()) {
    const std::span<double> signal(signal_.data(), count);
    std::fill(signal.begin(), signal.end(), 0.0);
    for (Ringing& mode : modes_) mode.add_to(signal);
    for (DisturbanceSource& source : disturbances_) source.ringing.add_to(signal);
    stretch.signal_mv = signal;
  }
  next_ += static_cast<std::int64_t>(count);
  return stretch;
}

}  // namespace plexor::virtual_rig
