#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <set>

#include "base/random.hpp"
#include "virtual/envelope_detector.hpp"
#include "virtual/front_end.hpp"
#include "virtual/outages.hpp"
#include "virtual/peak_detector.hpp"
#include "workshop.hpp"

namespace plexor::virtual_rig {
namespace {

using ::testing::ElementsAre;
using ::testing::IsEmpty;

constexpr std::int32_t mid_rail = 2048;

/// Noise with knocks, steps and silence in it, from a seed.
std::vector<std::int32_t> busy_codes(std::uint32_t seed, std::size_t count) {
  std::vector<std::int32_t> codes;
  for (std::uint32_t i = 0; codes.size() < count; ++i) {
    const base::DrawKey key{.seed = seed, .trial = i, .purpose = base::Purpose::dice};
    const double z = static_cast<double>(base::normal_q32(base::uniform_bits(key))) / 4294967296.0;
    const std::uint32_t part = (i / 3000) % 5;
    const double noise = part == 3 ? 0.0 : 2.0 * z;
    const double step = part == 2 ? 40.0 : 0.0;
    const double since = static_cast<double>(i % 1500);
    const double knock = part == 1 ? 600.0 * std::exp(-since / 100.0) * std::sin(0.3 * since) : 0.0;
    const double far = part == 4 && i % 700 < 90 ? 1900.0 : 0.0;
    codes.push_back(static_cast<std::int32_t>(
        std::clamp(mid_rail + noise + step + knock + far, 0.0, 4095.0) + 0.5));
  }
  return codes;
}

template <typename Detector>
std::set<std::size_t> flagged_one_by_one(Detector detector,
                                         const std::vector<std::int32_t>& codes) {
  std::set<std::size_t> flagged;
  for (std::size_t i = 0; i < codes.size(); ++i) {
    if (detector.flags(codes[i])) flagged.insert(i);
  }
  return flagged;
}

template <typename Detector>
std::set<std::size_t> flagged_in_stretches(Detector detector,
                                           const std::vector<std::int32_t>& codes,
                                           std::size_t stretch) {
  std::set<std::size_t> flagged;
  for (std::size_t at = 0; at < codes.size(); at += stretch) {
    const std::size_t count = std::min(stretch, codes.size() - at);
    detector.take(std::span(codes).subspan(at, count),
                  [&](std::size_t i) { flagged.insert(at + i); });
  }
  return flagged;
}

TEST(PeakDetector, RunsTakenAsAWholeFlagExactlyWhatOneByOneFlags) {
  for (std::uint32_t seed = 1; seed <= 20; ++seed) {
    const auto codes = busy_codes(seed, 40'000);
    for (const PeakSettings& settings :
         {PeakSettings{1024, 3.0, 0.0, 0.0}, PeakSettings{1024, 5.0, 12.0, 0.0},
          PeakSettings{500, 3.5, 2.0, 0.3}, PeakSettings{64, 2.5, 0.0, 1.0},
          PeakSettings{16, 4.0, 6.0, 0.5}}) {
      const PeakDetector detector(settings, mid_rail);
      const auto expected = flagged_one_by_one(detector, codes);
      EXPECT_FALSE(expected.empty());
      for (const std::size_t stretch : {64U, 256U, 100U, 7U}) {
        ASSERT_EQ(flagged_in_stretches(detector, codes, stretch), expected)
            << seed << " window " << settings.window << " stretch " << stretch;
      }
    }
  }
}

TEST(PeakDetector, ForgetsEverythingAtARestart) {
  PeakDetector used({64, 3.0, 0.0, 0.0}, mid_rail);
  (void)flagged_one_by_one(used, busy_codes(1, 5000));
  used.restart();
  const auto codes = busy_codes(2, 5000);
  EXPECT_EQ(flagged_one_by_one(used, codes),
            flagged_one_by_one(PeakDetector({64, 3.0, 0.0, 0.0}, mid_rail), codes));
}

constexpr base::Duration period = 125us;
constexpr EnvelopeSettings two_ms{.smooth = 2ms, .min_lsb = 20.0, .k_noise = 0.0, .release = 0.5};

/// A second of silence, then a square burst of this height and length.
std::vector<std::int32_t> burst(std::int32_t height, std::size_t samples) {
  std::vector<std::int32_t> codes(12'000, mid_rail);
  for (std::size_t i = 0; i < samples; ++i) codes[9000 + i] += i % 2 == 0 ? height : -height;
  return codes;
}

TEST(EnvelopeDetector, FlagsABurstOnceWhenItsSmoothedHeightPassesTheThreshold) {
  const EnvelopeDetector detector(two_ms, mid_rail, period);
  const auto flagged = flagged_one_by_one(detector, burst(40, 800));
  // 40 (1 - exp(-t / 2 ms)) passes 20 after 1.39 ms, which is 11 samples.
  ASSERT_EQ(flagged.size(), 1U);
  EXPECT_NEAR(static_cast<double>(*flagged.begin()), 9011.0, 1.0);
  EXPECT_THAT(flagged_one_by_one(detector, burst(19, 800)), IsEmpty());
  EXPECT_THAT(flagged_one_by_one(detector, burst(40, 8)), IsEmpty());  // too short to pass it
}

TEST(EnvelopeDetector, HysteresisKeepsAWobblingEnvelopeOneEvent) {
  const auto wobble = [] {
    std::vector<std::int32_t> codes(20'000, mid_rail);
    for (std::size_t i = 9000; i < 12'000; ++i) {
      const std::int32_t height = i / 80 % 2 == 0 ? 26 : 16;  // about the threshold of 20
      codes[i] += i % 2 == 0 ? height : -height;
    }
    return codes;
  }();
  EnvelopeSettings settings = two_ms;
  EXPECT_EQ(flagged_one_by_one(EnvelopeDetector(settings, mid_rail, period), wobble).size(), 1U);
  settings.release = 1.0;
  EXPECT_GT(flagged_one_by_one(EnvelopeDetector(settings, mid_rail, period), wobble).size(), 5U);
}

TEST(EnvelopeDetector, ANoiseTrackingThresholdGrowsWithTheNoise) {
  EnvelopeSettings settings = two_ms;
  settings.min_lsb = 1.0;
  settings.k_noise = 6.0;
  const auto noisy_with_burst = [](double sd, std::int32_t height) {
    std::vector<std::int32_t> codes;
    for (std::uint32_t i = 0; i < 40'000; ++i) {
      const base::DrawKey key{.seed = 5, .trial = i, .purpose = base::Purpose::dice};
      const double z =
          static_cast<double>(base::normal_q32(base::uniform_bits(key))) / 4294967296.0;
      const std::int32_t knock = i >= 30'000 && i < 30'200 ? (i % 2 == 0 ? height : -height) : 0;
      codes.push_back(mid_rail + static_cast<std::int32_t>(std::floor(sd * z + 0.5)) + knock);
    }
    return codes;
  };
  const EnvelopeDetector detector(settings, mid_rail, period);
  EXPECT_EQ(flagged_one_by_one(detector, noisy_with_burst(2.0, 30)).size(), 1U);
  EXPECT_THAT(flagged_one_by_one(detector, noisy_with_burst(20.0, 30)), IsEmpty());
}

TEST(EnvelopeDetector, StretchesDoNotMatter) {
  const EnvelopeDetector detector(two_ms, mid_rail, period);
  const auto codes = busy_codes(3, 40'000);
  const auto expected = flagged_one_by_one(detector, codes);
  EXPECT_FALSE(expected.empty());
  EXPECT_EQ(flagged_in_stretches(detector, codes, 100), expected);
}

TEST(Outages, ComeAtTheirRatesAndLastAsLongAsTheyShould) {
  Outages outages({.resets_per_hour = 2.0, .boot = 3s, .hangs_per_hour = 0.5, .hang = 30s}, 0, 9);
  int resets = 0;
  int hangs = 0;
  base::Instant begin = outages.next();
  while (begin < base::segment_start + 1000h) {
    const base::Duration length = outages.take() - begin;
    EXPECT_TRUE(length == 3s || length == 33s) << base::to_ms(length);
    ++(length == 3s ? resets : hangs);
    EXPECT_GE(outages.next(), begin);
    begin = outages.next();
  }
  EXPECT_NEAR(resets, 2000, 5.0 * std::sqrt(2000.0));
  EXPECT_NEAR(hangs, 500, 5.0 * std::sqrt(500.0));
  EXPECT_EQ(Outages({}, 0, 9).next(), base::Instant::max());
}

std::size_t answers_of_40_calls(const Simulation& simulation) {
  const rig::RigFile rig = workshop_rig();
  VirtualRig virtual_rig(rig, simulation, 5, false);
  std::size_t answers = 0;
  for (int i = 0; i < 40; ++i) {
    const base::Instant first = virtual_rig.now() + 1s;
    virtual_rig.fire(pulses_for(rig, first, {0ms, 190ms}));
    answers += only<base::Event>(observe_all(virtual_rig, first + 2s)).size();
  }
  return answers;
}

TEST(Firmware, IsDeafInAnOutage) {
  Simulation simulation = workshop_simulation();
  EXPECT_EQ(answers_of_40_calls(simulation), 40U);
  firmware_of(simulation).outages = {.resets_per_hour = 120, .boot = 15s};
  const std::size_t with_resets = answers_of_40_calls(simulation);
  EXPECT_LT(with_resets, 35U);
  EXPECT_GT(with_resets, 5U);
}

TEST(Firmware, HearsByEnvelopeToo) {
  Simulation simulation = workshop_simulation();
  firmware_of(simulation).detector = two_ms;
  EXPECT_EQ(answers_of_40_calls(simulation), 40U);
}

}  // namespace
}  // namespace plexor::virtual_rig
