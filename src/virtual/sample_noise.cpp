#include "virtual/sample_noise.hpp"

#include <algorithm>

#include "base/philox_lanes.hpp"
#include "base/random.hpp"
#include "base/vector_clones.hpp"

namespace plexor::virtual_rig {

namespace {

// What a generator call is for: its counter's first word.
constexpr std::uint32_t draws_leading_bits = 0;
constexpr std::uint32_t draws_trailing_bits = 1;

constexpr std::uint32_t low(std::uint64_t v) { return static_cast<std::uint32_t>(v); }
constexpr std::uint32_t high(std::uint64_t v) { return static_cast<std::uint32_t>(v >> 32); }

}  // namespace

SampleNoise::SampleNoise(std::uint32_t device, std::uint64_t seed)
    : key_{low(seed), high(seed)},
      place_((static_cast<std::uint32_t>(base::Purpose::sample_noise) << 16) | (device & 0xffffU)) {
}

PLEXOR_VECTOR_CLONES
void SampleNoise::draw_chunk(std::int64_t first_call,
                             std::span<std::uint16_t, chunk> leading) const {
  base::PhiloxLanes<lanes> words;  // NOLINT: written below
  for (std::size_t lane = 0; lane < lanes; ++lane) {
    const std::uint64_t call = static_cast<std::uint64_t>(first_call) + lane;
    words[0][lane] = draws_leading_bits;
    words[1][lane] = low(call);
    words[2][lane] = high(call);
    words[3][lane] = place_;
  }
  base::philox4x32_10(words, key_);
  // Sample 32 i + 2 l + h of the chunk is half h of word i of lane l: vectors go out as they are.
  for (std::size_t word = 0; word < 4; ++word) {
    for (std::size_t lane = 0; lane < lanes; ++lane) {
      const std::uint32_t bits = words[word][lane];
      leading[(word * lanes + lane) * 2] = static_cast<std::uint16_t>(bits);
      leading[(word * lanes + lane) * 2 + 1] = static_cast<std::uint16_t>(bits >> 16);
    }
  }
}

void SampleNoise::leading_bits(std::int64_t first, std::span<std::uint16_t> leading) const {
  std::array<std::uint16_t, chunk> drawn;  // NOLINT: written by draw_chunk
  constexpr auto chunk_samples = static_cast<std::int64_t>(chunk);
  std::size_t done = 0;
  while (done < leading.size()) {
    const std::int64_t sample = first + static_cast<std::int64_t>(done);
    const auto skipped = static_cast<std::size_t>(sample % chunk_samples);
    const std::size_t count = std::min(chunk - skipped, leading.size() - done);
    draw_chunk(sample / chunk_samples * static_cast<std::int64_t>(lanes), drawn);
    std::copy_n(drawn.begin() + static_cast<std::ptrdiff_t>(skipped), count,
                leading.begin() + static_cast<std::ptrdiff_t>(done));
    done += count;
  }
}

std::uint64_t SampleNoise::all_bits(std::int64_t sample, std::uint16_t leading) const {
  const auto number = static_cast<std::uint64_t>(sample);
  const auto words =
      base::philox4x32_10({draws_trailing_bits, low(number), high(number), place_}, key_);
  const std::uint64_t drawn = (std::uint64_t{words[1]} << 32) | words[0];
  return (std::uint64_t{leading} << 48) | (drawn >> 16);
}

}  // namespace plexor::virtual_rig
