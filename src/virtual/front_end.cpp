#include "virtual/front_end.hpp"

#include <algorithm>
#include <cassert>

#include "base/random.hpp"
#include "virtual/physics/elementary.hpp"

namespace plexor::virtual_rig {

FrontEnd::FrontEnd(const FrontEndSettings& settings, double sensitivity, std::uint32_t device,
                   std::uint64_t seed)
    : codes_per_mv_((1 << settings.bits) / settings.reference_mv),
      noise_scale_(settings.noise_mv * codes_per_mv_ / 4294967296.0),
      bias_((1 << settings.bits) / 2.0),
      highest_((1 << settings.bits) - 1.0),
      sensitivity_(sensitivity),
      hum_codes_(settings.hum_mv * codes_per_mv_),
      hum_turns_(settings.hum_hz / static_cast<double>(settings.rate_hz)),
      noise_(device, seed) {
  fill_tables();
}

double FrontEnd::noise_codes(std::uint64_t bits) const {
  return noise_scale_ * static_cast<double>(base::normal_q32(bits));
}

std::int32_t FrontEnd::code_of(double codes) const {
  return static_cast<std::int32_t>(std::clamp(codes, 0.0, highest_) + 0.5);
}

void FrontEnd::fill_tables() {
  constexpr int shift = 64 - cell_bits;
  for (std::uint64_t cell = 0; cell < (std::uint64_t{1} << cell_bits); ++cell) {
    const double begin = noise_codes(cell << shift);
    const double end = noise_codes((cell << shift) | ((std::uint64_t{1} << shift) - 1));
    const std::int32_t code = code_of(bias_ + begin);
    cells_.push_back({begin, end});
    quiet_codes_.push_back(code == code_of(bias_ + end) ? code : unsettled);
  }
}

/// Inside a cell the noise is monotone: if both its ends give one code, so does all between them.
std::int32_t FrontEnd::drawn_code(std::int64_t sample, std::uint16_t leading, double level) const {
  const Cell& cell = cells_[leading >> (16 - cell_bits)];
  const std::int32_t code = code_of(level + cell.at_begin);
  if (code == code_of(level + cell.at_end)) return code;
  return code_of(level + noise_codes(noise_.all_bits(sample, leading)));
}

std::span<const double> FrontEnd::hum(std::int64_t first, std::size_t count) {
  constexpr auto block_samples = static_cast<std::int64_t>(block);
  if (const std::int64_t now = first / block_samples; now != hum_block_) {
    hum_block_ = now;
    hum_.resize(block);
    // Each block anew from its number, so that rounding does not run on from block to block.
    const auto first_sample = static_cast<double>(now * block_samples);
    physics::SinCos phase = physics::sin_cos_turns(hum_turns_ * first_sample);
    const physics::SinCos step = physics::sin_cos_turns(hum_turns_);
    for (double& sample : hum_) {
      sample = hum_codes_ * phase.sin;
      phase = {phase.sin * step.cos + phase.cos * step.sin,
               phase.cos * step.cos - phase.sin * step.sin};
    }
  }
  return std::span(hum_).subspan(static_cast<std::size_t>(first % block_samples), count);
}

void FrontEnd::convert(std::int64_t first, std::span<const double> signal_mv,
                       std::span<std::int32_t> codes) {
  assert(static_cast<std::size_t>(first) % block + codes.size() <= block);
  std::array<std::uint16_t, block> storage;  // NOLINT: written by leading_bits
  const std::span<std::uint16_t> leading(storage.data(), codes.size());
  noise_.leading_bits(first, leading);
  if (signal_mv.empty() && hum_codes_ == 0.0) {
    for (std::size_t i = 0; i < codes.size(); ++i) {
      codes[i] = quiet_codes_[leading[i] >> (16 - cell_bits)];
      if (codes[i] != unsettled) continue;
      codes[i] = drawn_code(first + static_cast<std::int64_t>(i), leading[i], bias_);
    }
    return;
  }
  std::array<double, block> level{};
  level.fill(bias_);
  for (std::size_t i = 0; i < signal_mv.size(); ++i) {
    level[i] += sensitivity_ * codes_per_mv_ * signal_mv[i];
  }
  if (hum_codes_ != 0.0) {
    const std::span<const double> hums = hum(first, codes.size());
    for (std::size_t i = 0; i < codes.size(); ++i) level[i] += hums[i];
  }
  for (std::size_t i = 0; i < codes.size(); ++i) {
    codes[i] = drawn_code(first + static_cast<std::int64_t>(i), leading[i], level[i]);
  }
}

}  // namespace plexor::virtual_rig
