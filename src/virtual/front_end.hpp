#pragma once

#include <cstddef>
#include <cstdint>
#include <span>

#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// One device's converter: millivolts to codes, with noise drawn for every sample.
class FrontEnd {
 public:
  FrontEnd(const FrontEndSettings& settings, double sensitivity, std::uint32_t device,
           std::uint64_t seed);

  /// Codes of the samples from number `first` on; an empty signal means 0 mV.
  /// The noise depends on the sample's number alone, not on how stretches are cut.
  void convert(std::int64_t first, std::span<const double> signal_mv,
               std::span<std::int32_t> codes) const;

 private:
  void draw_noise(std::int64_t first, std::span<double> noise) const;
  [[nodiscard]] std::int32_t code_of(double in_codes) const;

  double codes_per_mv_;
  double noise_scale_;  ///< codes per unit of normal_q32
  double bias_;         ///< mid-rail
  double highest_;
  std::uint32_t device_;
  std::uint64_t seed_;
};

}  // namespace plexor::virtual_rig
