#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

#include "virtual/sample_noise.hpp"
#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// One device's converter: millivolts to codes, with noise drawn for every sample.
class FrontEnd {
 public:
  /// No stretch may cross a multiple of this many samples.
  static constexpr std::size_t block = 256;

  FrontEnd(const FrontEndSettings& settings, double sensitivity, std::uint32_t device,
           std::uint64_t seed);

  /// Codes of the samples from number `first` on, within one block; an empty signal means 0 mV.
  /// Noise and hum depend on the sample's number alone, not on how stretches are cut.
  void convert(std::int64_t first, std::span<const double> signal_mv,
               std::span<std::int32_t> codes);

 private:
  /// The noise of all draws with the same leading bits lies between two values, in codes.
  struct Cell {
    double at_begin;
    double at_end;
  };
  static constexpr int cell_bits = 12;

  void fill_tables();
  [[nodiscard]] double noise_codes(std::uint64_t bits) const;
  [[nodiscard]] std::int32_t code_of(double codes) const;
  [[nodiscard]] std::int32_t drawn_code(std::int64_t sample, std::uint16_t leading,
                                        double level) const;
  [[nodiscard]] std::span<const double> hum(std::int64_t first, std::size_t count);

  double codes_per_mv_;
  double noise_scale_;  ///< codes per unit of normal_q32
  double bias_;         ///< mid-rail
  double highest_;
  double sensitivity_;
  double hum_codes_;
  double hum_turns_;  ///< per sample
  SampleNoise noise_;
  std::vector<Cell> cells_;
  static constexpr std::int32_t unsettled = -1;
  std::vector<std::int32_t> quiet_codes_;  ///< of noise alone, by cell, or `unsettled`
  std::int64_t hum_block_ = -1;            ///< the block that hum_ is of
  std::vector<double> hum_;
};

}  // namespace plexor::virtual_rig
