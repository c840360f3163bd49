#pragma once

#include <span>

#include "analysis/signal/tap_signal.hpp"

// How fast a ringing dies away. Private to this room.

namespace plexor::analysis {

/// What a decay is measured on.
struct DecayQuestion {
  std::span<const double> values{};  ///< less their baseline, from behind the last clipped sample
  double rate_hz = 0.0;
  double noise_rms = 0.0;
  std::span<const SpectralLine> lines{};  ///< strongest first
  bool tap_follows = false;               ///< at the values' end
  bool goes_on = false;                   ///< was still above the noise there
  bool clipped = false;                   ///< before the values' begin
};

/// By successive peaks where one line is 20 dB above all others and has at least 8 samples a
/// period; otherwise in a band around the strongest line (down to 13 dB) that has others far enough
/// away; otherwise
/// broadband. A way gives way to the next that does not get 5 points over at least 6 dB, or whose
/// first half falls twice as fast as the second, or half as fast, beyond doubt.
[[nodiscard]] Told<Decay> decay_of(const DecayQuestion& question);

}  // namespace plexor::analysis
