#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <vector>

#include "analysis/signal/tap_signal.hpp"
#include "base/random.hpp"

namespace plexor::analysis {

/// A mode as a blow rings it up.
struct MadeMode {
  double hz = 0.0;
  double loss_factor = 0.0;
  double amplitude = 0.0;  ///< codes
};

/// A wave with known truth: a 12-bit converter at mid-rail, with noise and knocks.
struct MadeWave {
  double rate_hz = 10'000.0;
  double baseline = 2048.0;
  double noise_rms = 2.0;
  std::size_t quiet = 500;
  std::size_t count = 10'500;
  Rails rails{.lowest = 0, .highest = 4095};
  std::uint64_t seed = 1;
  std::vector<double> samples = std::vector<double>(count, baseline);

  void knock(double contact, const std::vector<MadeMode>& modes) {
    for (const MadeMode& mode : modes) {
      for (auto i = static_cast<std::size_t>(std::ceil(contact)); i < count; ++i) {
        const double t = (static_cast<double>(i) - contact) / rate_hz;
        samples[i] += mode.amplitude *
                      std::exp(-std::numbers::pi * mode.hz * mode.loss_factor * t) *
                      std::sin(2.0 * std::numbers::pi * mode.hz * t);
      }
    }
  }
  [[nodiscard]] std::vector<std::int32_t> values() const {
    std::vector<std::int32_t> codes;
    for (std::uint32_t i = 0; i < count; ++i) {
      const base::DrawKey key{.seed = seed, .trial = i, .purpose = base::Purpose::sample_noise};
      const double normal =
          static_cast<double>(base::normal_q32(base::uniform_bits(key))) * 0x1p-32;
      const double value = std::round(samples[i] + noise_rms * normal);
      codes.push_back(
          static_cast<std::int32_t>(std::clamp<double>(value, rails.lowest, rails.highest)));
    }
    return codes;
  }
  [[nodiscard]] TapWindow window(const std::vector<std::int32_t>& codes, double contact) const {
    return {.values = codes,
            .rate_hz = rate_hz,
            .quiet = quiet,
            .contact = contact,
            .end = codes.size(),
            .tap_follows = false,
            .rails = rails};
  }
};

/// One knock of these modes at sample 500.
inline TapSignal signal_of(const std::vector<MadeMode>& modes, MadeWave wave = {}) {
  wave.knock(500.0, modes);
  const auto codes = wave.values();
  return tap_signal(wave.window(codes, 500.0));
}

}  // namespace plexor::analysis
