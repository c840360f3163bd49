#include "virtual/firmware.hpp"

#include <array>
#include <cassert>

namespace plexor::virtual_rig {

namespace {

std::int64_t samples_in(base::Duration span, base::Duration period) {
  return (span + period / 2) / period;
}

}  // namespace

Firmware::Firmware(const FirmwareSettings& settings, const FrontEndSettings& front_end,
                   std::uint32_t device, std::uint64_t seed)
    : settings_(settings),
      front_end_(front_end, settings.sensitivity, device, seed),
      detector_(settings),
      line_(settings.baud, settings.poll, device, seed),
      device_(device),
      period_(base::Duration{std::chrono::seconds{1}} / front_end.rate_hz),
      lockout_samples_(samples_in(settings.lockout, period_)),
      decision_samples_(samples_in(settings.decision_gap, period_)) {}

base::Instant Firmware::time_of(std::int64_t sample) const {
  return base::segment_start + sample * period_;
}

void Firmware::hear(const Sensor::Stretch& stretch) {
  std::array<std::int32_t, Sensor::block> storage;  // NOLINT: written by convert
  const std::span<std::int32_t> codes(storage.data(), stretch.count);
  front_end_.convert(stretch.first, stretch.signal_mv, codes);
  std::int64_t sample = stretch.first;
  for (const std::int32_t code : codes) {
    if (detector_.flags(code) && sample >= locked_until_) take_peak(sample);
    ++sample;
  }
}

void Firmware::take_peak(std::int64_t sample) {
  peaks_.push_back(sample);
  locked_until_ = sample + lockout_samples_;
}

base::Instant Firmware::decides_at() const {
  return peaks_.empty() ? base::Instant::max() : time_of(peaks_.back() + decision_samples_);
}

std::optional<base::Event> Firmware::decide() {
  assert(!peaks_.empty());
  const base::Instant decided = decides_at();
  std::vector<base::Duration> intervals;
  for (std::size_t i = 1; i < peaks_.size(); ++i) {
    intervals.push_back((peaks_[i] - peaks_[i - 1]) * period_);
  }
  peaks_.clear();
  for (const KnownRhythm& rhythm : settings_.rhythms) {
    if (!rhythm.matches(intervals)) continue;
    return base::Event{.device = device_,
                       .name = rhythm.name,
                       .arrival = line_.arrival(rhythm.name, decided),
                       .device_time = {},
                       .strength = {}};
  }
  return std::nullopt;
}

}  // namespace plexor::virtual_rig
