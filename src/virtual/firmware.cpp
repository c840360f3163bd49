#include "virtual/firmware.hpp"

#include <algorithm>
#include <array>
#include <cassert>

namespace plexor::virtual_rig {

namespace {

std::int64_t samples_in(base::Duration span, base::Duration period) {
  return (span + period / 2) / period;
}

std::variant<PeakDetector, EnvelopeDetector> make_detector(const FirmwareSettings& settings,
                                                           const FrontEndSettings& front_end) {
  const std::int32_t mid_rail = 1 << (front_end.bits - 1);
  if (const auto* envelope = std::get_if<EnvelopeSettings>(&settings.detector)) {
    return EnvelopeDetector(*envelope, mid_rail, front_end.period());
  }
  return PeakDetector(std::get<PeakSettings>(settings.detector), mid_rail);
}

}  // namespace

Firmware::Firmware(const FirmwareSettings& settings, const FrontEndSettings& front_end,
                   std::uint32_t device, std::uint64_t seed)
    : settings_(settings),
      front_end_(front_end, settings.sensitivity, device, seed),
      detector_(make_detector(settings, front_end)),
      link_(settings.link, device, seed),
      outages_(settings.outages, device, seed),
      device_(device),
      period_(front_end.period()),
      lockout_samples_(samples_in(settings.lockout, period_)),
      decision_samples_(samples_in(settings.decision_gap, period_)) {
  warm_up();
}

/// A device under test has been on for a while: its running figures are those of a quiet line,
/// drawn from samples that no run reaches.
void Firmware::warm_up() {
  constexpr std::int64_t before_the_run = std::int64_t{1} << 40;
  constexpr base::Duration while_on = std::chrono::seconds{2};
  std::array<std::int32_t, Sensor::block> codes{};
  for (std::int64_t done = 0; done < while_on / period_; done += std::int64_t{Sensor::block}) {
    front_end_.convert(before_the_run + done, {}, codes);
    std::visit([&](auto& detector) { detector.take(codes, [](std::size_t) {}); }, detector_);
  }
}

base::Instant Firmware::time_of(std::int64_t sample) const {
  return base::segment_start + sample * period_;
}

/// The first sample at or after an instant; far away for Instant::max().
std::int64_t Firmware::sample_at(base::Instant instant) const {
  const base::Duration since = instant - base::segment_start;
  return since / period_ + (since % period_ > base::Duration::zero() ? 1 : 0);
}

void Firmware::hear(const Sensor::Stretch& stretch) {
  std::array<std::int32_t, Sensor::block> storage;  // NOLINT: written by convert
  std::span<const std::int32_t> codes(storage.data(), stretch.count);
  front_end_.convert(stretch.first, stretch.signal_mv, {storage.data(), stretch.count});
  std::int64_t first = stretch.first;
  const std::int64_t end = first + static_cast<std::int64_t>(stretch.count);
  while (first < end) {
    const std::int64_t breaks = sample_at(outages_.next());
    if (first >= breaks) {
      break_down();
      continue;
    }
    const bool deaf = first < deaf_until_;
    const std::int64_t until = std::min({end, breaks, deaf ? deaf_until_ : end});
    const auto count = static_cast<std::size_t>(until - first);
    if (!deaf) detect(first, codes.first(count));
    codes = codes.subspan(count);
    first = until;
  }
}

void Firmware::break_down() {
  deaf_until_ = std::max(deaf_until_, sample_at(outages_.take()));
  restart();
}

void Firmware::restart() {
  peaks_.clear();
  std::visit([](auto& detector) { detector.restart(); }, detector_);
}

void Firmware::detect(std::int64_t first, std::span<const std::int32_t> codes) {
  std::visit(
      [&](auto& detector) {
        detector.take(codes, [&](std::size_t i) {
          const std::int64_t sample = first + static_cast<std::int64_t>(i);
          if (sample >= locked_until_) take_peak(sample);
        });
      },
      detector_);
}

void Firmware::take_peak(std::int64_t sample) {
  // More knocks than any rhythm has: none of them matters any more, but the last one's time.
  if (peaks_.size() == most_peaks) peaks_.pop_back();
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
                       .arrival = link_.arrival(rhythm.name, decided),
                       .device_time = {},
                       .strength = {}};
  }
  return std::nullopt;
}

}  // namespace plexor::virtual_rig
