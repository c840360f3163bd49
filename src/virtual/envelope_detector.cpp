#include "virtual/envelope_detector.hpp"

#include <algorithm>

namespace plexor::virtual_rig {

namespace {

constexpr std::int64_t fixed_one = 65536;
/// Of the running means of signal and noise.
constexpr base::Duration slow = std::chrono::milliseconds{500};

std::int64_t pace_of(base::Duration time_constant, base::Duration sample_period) {
  return std::clamp<std::int64_t>(fixed_one * sample_period / time_constant, 1, fixed_one);
}

std::int64_t part(std::int64_t value, std::int64_t share) { return value * share / fixed_one; }

}  // namespace

EnvelopeDetector::EnvelopeDetector(const EnvelopeSettings& settings, std::int32_t mid_rail,
                                   base::Duration sample_period)
    : mid_rail_(mid_rail),
      pace_(pace_of(settings.smooth, sample_period)),
      slow_pace_(pace_of(slow, sample_period)),
      least_(static_cast<std::int64_t>(settings.min_lsb * fixed_one)),
      k_noise_(static_cast<std::int64_t>(settings.k_noise * 256.0 + 0.5)),
      release_(static_cast<std::int64_t>(settings.release * 256.0 + 0.5)),
      settling_(2 * slow / sample_period),
      still_settling_(settling_) {}

void EnvelopeDetector::restart() {
  mean_ = envelope_ = noise_ = 0;
  above_ = false;
  still_settling_ = settling_;
}

bool EnvelopeDetector::flags(std::int32_t code) {
  const std::int64_t value = (std::int64_t{code} - mid_rail_) * fixed_one;
  mean_ += part(value - mean_, slow_pace_);
  const std::int64_t offset = value - mean_;
  envelope_ += part((offset < 0 ? -offset : offset) - envelope_, pace_);
  const std::int64_t threshold = std::max(least_, noise_ * k_noise_ / 256);
  const bool rises = !above_ && envelope_ > threshold;
  above_ = rises || (above_ && envelope_ > threshold * release_ / 256);
  if (!above_ || still_settling_ > 0) noise_ += part(envelope_ - noise_, slow_pace_);
  if (still_settling_ > 0) {
    --still_settling_;
    return false;
  }
  return rises;
}

}  // namespace plexor::virtual_rig
