#include "virtual/front_end.hpp"

#include <algorithm>
#include <array>

#include "base/random.hpp"
#include "virtual/sensor.hpp"

namespace plexor::virtual_rig {

namespace {

constexpr std::uint64_t joined(std::uint32_t high, std::uint32_t low) {
  return (static_cast<std::uint64_t>(high) << 32) | low;
}

}  // namespace

FrontEnd::FrontEnd(const FrontEndSettings& settings, double sensitivity, std::uint32_t device,
                   std::uint64_t seed)
    : codes_per_mv_((1 << settings.bits) / settings.reference_mv),
      noise_scale_(settings.noise_mv * codes_per_mv_ / 4294967296.0),
      bias_((1 << settings.bits) / 2.0),
      highest_((1 << settings.bits) - 1.0),
      device_(device),
      seed_(seed) {
  codes_per_mv_ *= sensitivity;
}

void FrontEnd::draw_noise(std::int64_t first, std::span<double> noise) const {
  // A generator call makes two deviates: samples 2n and 2n + 1 share one. The counter is laid
  // out as by base::uniform_bits, which would leave half of the words unused.
  const std::uint32_t place =
      (static_cast<std::uint32_t>(base::Purpose::sample_noise) << 16) | (device_ & 0xffffU);
  const std::array<std::uint32_t, 2> key{static_cast<std::uint32_t>(seed_),
                                         static_cast<std::uint32_t>(seed_ >> 32)};
  const auto deviate = [this](std::uint64_t bits) {
    return noise_scale_ * static_cast<double>(base::normal_q32(bits));
  };
  std::size_t i = 0;
  while (i < noise.size()) {
    const auto sample = static_cast<std::uint64_t>(first) + i;
    const std::uint64_t pair = sample / 2;
    const auto words = base::philox4x32_10(
        {0, static_cast<std::uint32_t>(pair), static_cast<std::uint32_t>(pair >> 32), place}, key);
    if (sample % 2 == 0) noise[i++] = deviate(joined(words[1], words[0]));
    if (i < noise.size()) noise[i++] = deviate(joined(words[3], words[2]));
  }
}

std::int32_t FrontEnd::code_of(double in_codes) const {
  return static_cast<std::int32_t>(std::clamp(in_codes, 0.0, highest_) + 0.5);
}

void FrontEnd::convert(std::int64_t first, std::span<const double> signal_mv,
                       std::span<std::int32_t> codes) const {
  std::array<double, Sensor::block> storage;  // NOLINT: each element is written before it is read
  const std::span<double> level(storage.data(), codes.size());
  draw_noise(first, level);
  for (double& value : level) value += bias_;
  for (std::size_t i = 0; i < signal_mv.size(); ++i) level[i] += codes_per_mv_ * signal_mv[i];
  for (std::size_t i = 0; i < codes.size(); ++i) codes[i] = code_of(level[i]);
}

}  // namespace plexor::virtual_rig
