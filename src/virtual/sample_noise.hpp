#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <span>

namespace plexor::virtual_rig {

/// Normal noise for every sample of one device. It depends on the sample's
/// number alone, so it is the same however stretches of samples are cut.
///
/// Of a sample's 64 uniform bits the leading 16 come eight samples to one
/// generator call, many calls side by side. They nearly always settle the
/// converter's code; the rest is drawn only where they do not.
class SampleNoise {
 public:
  SampleNoise(std::uint32_t device, std::uint64_t seed);

  /// The leading bits of samples `first` and on.
  void leading_bits(std::int64_t first, std::span<std::uint16_t> leading) const;

  /// All bits of a sample that has these leading ones.
  [[nodiscard]] std::uint64_t all_bits(std::int64_t sample, std::uint16_t leading) const;

 private:
  static constexpr std::size_t lanes = 16;  ///< generator calls side by side
  static constexpr std::size_t samples_per_call = 8;
  static constexpr std::size_t chunk = lanes * samples_per_call;

  void draw_chunk(std::int64_t first_call, std::span<std::uint16_t, chunk> leading) const;

  std::array<std::uint32_t, 2> key_;
  std::uint32_t place_;
};

}  // namespace plexor::virtual_rig
