#include "virtual/front_end.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <numeric>

#include "base/random.hpp"
#include "base/sanitized.hpp"
#include "workshop.hpp"

namespace plexor::virtual_rig {
namespace {

using ::testing::Each;

constexpr std::int64_t block{FrontEnd::block};

constexpr FrontEndSettings two_lsb_of_noise{
    .rate_hz = 8000, .bits = 12, .reference_mv = 4096, .noise_mv = 2.0};

struct Moments {
  double mean;
  double sd;
};

Moments moments_of(const std::vector<std::int32_t>& codes) {
  const auto n = static_cast<double>(codes.size());
  const double mean = std::accumulate(codes.begin(), codes.end(), 0.0) / n;
  double squares = 0.0;
  for (const auto code : codes) squares += (code - mean) * (code - mean);
  return {mean, std::sqrt(squares / n)};
}

std::vector<std::int32_t> quiet_codes(FrontEnd front_end, std::size_t blocks) {
  std::vector<std::int32_t> codes(blocks * Sensor::block);
  for (std::size_t i = 0; i < blocks; ++i) {
    front_end.convert(static_cast<std::int64_t>(i * Sensor::block), {},
                      std::span(codes).subspan(i * Sensor::block, Sensor::block));
  }
  return codes;
}

TEST(FrontEnd, QuietNoiseRestsAtMidRailWithItsOwnAndTheQuantisersDeviation) {
  const FrontEndSettings settings{
      .rate_hz = 8000, .bits = 12, .reference_mv = 4096, .noise_mv = 1.5};
  const auto codes = quiet_codes(FrontEnd(settings, 1.0, 0, 7), 1000);
  const auto [mean, sd] = moments_of(codes);
  const auto n = static_cast<double>(codes.size());
  // Rounding adds q/sqrt(12) (physics.md section 4, ADC noise).
  const double expected_sd = std::sqrt(1.5 * 1.5 + 1.0 / 12.0);
  EXPECT_NEAR(mean, 2048.0, 5.0 * expected_sd / std::sqrt(n));
  EXPECT_NEAR(sd, expected_sd, 5.0 * expected_sd / std::sqrt(2.0 * n));
}

TEST(FrontEnd, NoiseDependsOnTheSampleAndDeviceOnly) {
  const FrontEndSettings settings = workshop_simulation().sensor->front_end;
  FrontEnd front_end(settings, 1.0, 0, 7);
  const auto whole = quiet_codes(front_end, 1);
  std::vector<std::int32_t> pieces(whole.size());
  for (std::size_t at = 0, length = 1; at < pieces.size(); at += length, length = length % 5 + 1) {
    length = std::min(length, pieces.size() - at);
    front_end.convert(static_cast<std::int64_t>(at), {}, std::span(pieces).subspan(at, length));
  }
  EXPECT_EQ(pieces, whole);
  EXPECT_NE(quiet_codes(FrontEnd(settings, 1.0, 1, 7), 1), whole);
  EXPECT_NE(quiet_codes(FrontEnd(settings, 1.0, 0, 8), 1), whole);
}

TEST(FrontEnd, ClampsAtTheRails) {
  FrontEnd front_end(workshop_simulation().sensor->front_end, 1.0, 0, 7);
  std::vector<std::int32_t> codes(64);
  front_end.convert(0, std::vector<double>(64, 1e6), codes);
  EXPECT_THAT(codes, Each(4095));
  front_end.convert(0, std::vector<double>(64, -1e6), codes);
  EXPECT_THAT(codes, Each(0));
}

/// The converter without any short cut: all 64 bits of every sample.
std::int32_t plain_code(const SampleNoise& noise, std::int64_t sample, double signal_codes) {
  std::vector<std::uint16_t> leading(1);
  noise.leading_bits(sample, leading);
  const std::uint64_t bits = noise.all_bits(sample, leading[0]);
  const double z = static_cast<double>(base::normal_q32(bits)) / 4294967296.0;
  return static_cast<std::int32_t>(std::clamp(2048.0 + 2.0 * z + signal_codes, 0.0, 4095.0) + 0.5);
}

TEST(FrontEnd, ItsShortCutsGiveThePlainCodeOfEverySample) {
  FrontEnd front_end(two_lsb_of_noise, 1.0, 3, 99);
  const SampleNoise noise(3, 99);
  std::vector<std::int32_t> codes(FrontEnd::block);
  std::vector<double> signal_mv(FrontEnd::block);
  for (std::int64_t first = 0; first < 400 * block; first += block) {
    const bool quiet = first % 512 == 0;
    for (std::size_t i = 0; i < signal_mv.size(); ++i) {
      signal_mv[i] = 300.0 * std::sin(0.05 * static_cast<double>(i));
    }
    front_end.convert(first, quiet ? std::span<const double>{} : signal_mv, codes);
    for (std::size_t i = 0; i < codes.size(); ++i) {
      const auto sample = first + static_cast<std::int64_t>(i);
      ASSERT_EQ(codes[i], plain_code(noise, sample, quiet ? 0.0 : signal_mv[i])) << sample;
    }
  }
}

TEST(FrontEnd, TailsBeyondFiveDeviationsAreThoseOfTheNormalLaw) {
  // Codes beyond so many deviations in a long quiet stretch. Standard deviation 2 LSB: a code of
  // 10 or more off centre is a deviate beyond 9.5 / 2 = 4.75, and so on. Poisson limits.
  FrontEnd front_end(two_lsb_of_noise, 1.0, 0, 20261125);
  constexpr std::int64_t samples = base::is_sanitized ? 30'000'000 : 300'000'000;
  std::vector<std::int64_t> beyond(16);
  std::vector<std::int32_t> codes(FrontEnd::block);
  for (std::int64_t first = 0; first < samples; first += block) {
    front_end.convert(first, {}, codes);
    for (const auto code : codes)
      ++beyond[static_cast<std::size_t>(std::min(std::abs(code - 2048), 15))];
  }
  for (std::size_t i = beyond.size() - 1; i > 0; --i) beyond[i - 1] += beyond[i];
  for (const int off : {4, 6, 8, 9, 10, 11, 12}) {
    const double z = (off - 0.5) / 2.0;
    const double expected = static_cast<double>(samples) * std::erfc(z / std::sqrt(2.0));
    EXPECT_NEAR(static_cast<double>(beyond[static_cast<std::size_t>(off)]), expected,
                4.5 * std::sqrt(expected) + 1.0 + 2e-4 * expected)
        << z;
  }
}

TEST(NormalDeviates, HaveTheNormalTailToSevenDeviations) {
  // Exact: the share of all 2^64 words whose deviate lies beyond z, found by bisection.
  for (const double z : {1.0, 3.0, 5.0, 5.5, 6.0, 6.5, 7.0}) {
    const auto limit = static_cast<std::int64_t>(z * 4294967296.0);
    std::uint64_t beyond = 0;  // the positive half's words run from the tail towards 0
    std::uint64_t within = (std::uint64_t{1} << 63) - 1;
    while (within - beyond > 1) {
      const std::uint64_t middle = beyond + (within - beyond) / 2;
      (base::normal_q32(middle) > limit ? beyond : within) = middle;
    }
    const double share = static_cast<double>(within) / 18446744073709551616.0;
    EXPECT_NEAR(share / (std::erfc(z / std::sqrt(2.0)) / 2.0), 1.0, 3e-4) << z;
  }
}

TEST(FrontEnd, HumIsASineOfItsAmplitudeAndFrequency) {
  FrontEndSettings settings = two_lsb_of_noise;
  settings.noise_mv = 0.0;
  settings.hum_mv = 40.0;
  FrontEnd front_end(settings, 1.0, 0, 1);
  const auto codes = quiet_codes(front_end, 8);
  for (std::size_t i = 0; i < codes.size(); ++i) {
    const double expected =
        40.0 * std::sin(2.0 * 3.14159265358979 * 50.0 * static_cast<double>(i) / 8000.0);
    ASSERT_NEAR(codes[i], 2048.0 + expected, 0.51) << i;
  }
}

}  // namespace
}  // namespace plexor::virtual_rig
