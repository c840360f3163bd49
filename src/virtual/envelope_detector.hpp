#pragma once

#include <cstdint>
#include <span>

#include "base/time.hpp"
#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// Flags the moments when the rectified and smoothed signal rises above a fixed
/// or noise-tracking threshold, once until it has fallen below a share of it
/// (hysteresis). Fixed-point numbers only.
class EnvelopeDetector {
 public:
  /// Codes of a quiet line lie around `mid_rail`.
  EnvelopeDetector(const EnvelopeSettings& settings, std::int32_t mid_rail,
                   base::Duration sample_period);

  /// Takes the next code; true if the envelope rises above the threshold with it.
  [[nodiscard]] bool flags(std::int32_t code);

  /// Takes the next codes, and calls `flagged` with the index of each that is flagged.
  template <typename Flagged>
  void take(std::span<const std::int32_t> codes, Flagged&& flagged) {
    for (std::size_t i = 0; i < codes.size(); ++i) {
      if (flags(codes[i])) flagged(i);
    }
  }

  /// Forgets everything, as after a reset.
  void restart();

 private:
  std::int32_t mid_rail_;
  std::int64_t pace_;       ///< of the low-pass, share of the step taken per sample, in 2^-16
  std::int64_t slow_pace_;  ///< of the running means, likewise
  std::int64_t least_;      ///< threshold at least, in 2^-16 codes
  std::int64_t k_noise_;    ///< in 1/256
  std::int64_t release_;    ///< in 1/256
  std::int64_t settling_;   ///< samples until the running means can be believed
  std::int64_t still_settling_;
  std::int64_t mean_ = 0;  ///< of the codes; this and the next two in 2^-16 codes
  std::int64_t envelope_ = 0;
  std::int64_t noise_ = 0;  ///< running mean of the envelope in quiet
  bool above_ = false;
};

}  // namespace plexor::virtual_rig
