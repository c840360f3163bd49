#include "analysis/signal/surface_signal.hpp"

#include <gmock/gmock.h>

#include <algorithm>

#include "analysis/signal/made_waves.hpp"

namespace plexor::analysis {
namespace {

/// Taps that ring two modes up with the strike speed to the power of 1.3.
SurfaceSignal surface_of(std::uint64_t taps, double noise_rms = 2.0, double scale = 400.0) {
  SurfaceTally tally;
  for (std::uint64_t i = 0; i < taps; ++i) {
    MadeWave wave{.noise_rms = noise_rms, .count = 6000, .seed = 100 + i};
    const double strike = 0.3 + 0.05 * static_cast<double>(i % 10);
    const double height = scale * std::pow(strike, 1.3);
    wave.knock(500.0, {{210.0, 0.02, height}, {530.0, 0.02, 0.4 * height}});
    const auto codes = wave.values();
    tally.take(wave.window(codes, 500.0), strike);
  }
  return tally.finish();
}

TEST(SurfaceSignal, FindsTheModesOfManyTaps) {
  const SurfaceSignal surface = surface_of(40);
  ASSERT_EQ(surface.lines.size(), 2U);
  EXPECT_NEAR(surface.lines[0].hz, 210.0, surface.resolution_hz / 10.0);
  EXPECT_NEAR(surface.lines[1].hz, 530.0, surface.resolution_hz / 5.0);
  EXPECT_EQ(surface.lines[0].taps, 40U);
  EXPECT_EQ(surface.lines[0].db, 0.0);
  EXPECT_EQ(surface.taps, 40U);
  EXPECT_EQ(surface.clear, 40U);
  EXPECT_EQ(surface.clipped, 0U);
  EXPECT_NEAR(surface.loss_factor->median, 0.02, 0.002);
  EXPECT_LE(surface.loss_factor->interval.lower, surface.loss_factor->median);
  EXPECT_GE(surface.loss_factor->interval.upper, surface.loss_factor->median);
  EXPECT_NEAR(surface.noise_rms->median, 2.02, 0.1);
  EXPECT_NEAR(surface.t60_s->median, std::log(1000.0) / (std::numbers::pi * 210.0 * 0.02), 0.06);
}

TEST(SurfaceSignal, PeaksGrowWithTheStrikeAsPutIn) {
  const SurfaceSignal surface = surface_of(40);
  ASSERT_TRUE(surface.strength);
  EXPECT_LE(surface.strength->slope_interval.lower, 1.3);
  EXPECT_GE(surface.strength->slope_interval.upper, 1.3);
  EXPECT_NEAR(surface.strength->line.slope, 1.3, 0.03);
  const Interval at = surface.strength->peak_interval_at(0.5);
  EXPECT_LT(at.lower, surface.strength->peak_at(0.5));
  EXPECT_GT(at.upper, surface.strength->peak_at(0.5));
  EXPECT_LT(at.upper / at.lower, 1.05);
}

TEST(SurfaceSignal, ClippedTapsDoNotBendTheLineOfPeaks) {
  const SurfaceSignal surface = surface_of(40, 2.0, 4000.0);
  EXPECT_GT(surface.clipped, 10U);
  ASSERT_TRUE(surface.strength);
  EXPECT_EQ(surface.strength->line.n, 40U - surface.clipped);
  EXPECT_NEAR(surface.strength->line.slope, 1.3, 0.05);
}

TEST(SurfaceSignal, ManyTapsShowALineThatOneHardlyShows) {
  const SurfaceSignal surface = surface_of(60, 12.0, 300.0);
  ASSERT_GE(surface.lines.size(), 1U);
  EXPECT_NEAR(surface.lines[0].hz, 210.0, surface.resolution_hz / 4.0);
}

TEST(SurfaceSignal, ChartsHoldAtMostFourHundredPoints) {
  const SurfaceSignal surface = surface_of(12);
  EXPECT_LE(surface.spectrum.size(), most_chart_points);
  EXPECT_GT(surface.spectrum.size(), 300U);
  EXPECT_LE(surface.decay_curve.size(), most_chart_points);
  const auto strongest = std::ranges::max_element(surface.spectrum, {},
                                                  [](const auto& point) { return point.second; });
  EXPECT_EQ(strongest->second, 0.0);
  EXPECT_NEAR(strongest->first, 210.0, 1.0);
  EXPECT_LT(surface.spectrum_floor_db, -30.0);
}

TEST(SurfaceSignal, TypicalDecayEndsInTheNoise) {
  const SurfaceSignal surface = surface_of(20);
  ASSERT_GT(surface.decay_curve.size(), 200U);
  EXPECT_GT(surface.decay_curve[2].second, 50.0);
  EXPECT_NEAR(surface.decay_curve.back().second, surface.noise_rms->median, 0.5);
  // Between two whole periods of the first mode, it falls as that mode does.
  const auto rms_at = [&](std::size_t bin) {
    double squares = 0.0;
    for (std::size_t i = bin; i < bin + 19; ++i)
      squares += std::pow(surface.decay_curve[i].second, 2);
    return std::sqrt(squares);
  };
  const double between_s = surface.decay_curve[78].first - surface.decay_curve[40].first;
  EXPECT_NEAR(std::log(rms_at(40) / rms_at(78)) / between_s, std::numbers::pi * 210.0 * 0.02, 1.0);
}

TEST(SurfaceSignal, RingDownQuantilesCountTapsNotSeenToTheEndAsNever) {
  SurfaceTally tally;
  for (std::uint64_t i = 0; i < 20; ++i) {
    MadeWave wave{.count = i < 15 ? std::size_t{6000} : std::size_t{900}, .seed = i + 1};
    wave.samples.assign(wave.count, wave.baseline);
    wave.knock(500.0, {{210.0, 0.02, 400.0}});
    const auto codes = wave.values();
    tally.take(wave.window(codes, 500.0), 0.5);
  }
  const SurfaceSignal surface = tally.finish();
  EXPECT_EQ(surface.upwards, 20U);
  ASSERT_EQ(surface.ring_down.size(), 4U);
  EXPECT_NEAR(*surface.ring_down[0].seconds, 0.3, 0.1);
  EXPECT_FALSE(surface.ring_down[1].seconds);
  EXPECT_FALSE(surface.strength) << "one speed is no line";
}

TEST(SurfaceSignal, OfNoTapsSaysNothing) {
  const SurfaceSignal surface = SurfaceTally{}.finish();
  EXPECT_EQ(surface.taps, 0U);
  EXPECT_FALSE(surface.peak_codes);
  EXPECT_TRUE(surface.lines.empty());
  EXPECT_TRUE(surface.spectrum.empty());
  EXPECT_TRUE(surface.decay_curve.empty());
}

TEST(SurfaceSignal, RefusesAnotherRate) {
  SurfaceTally tally;
  MadeWave wave;
  const auto codes = wave.values();
  TapWindow window = wave.window(codes, 500.0);
  tally.take(window, 0.5);
  EXPECT_THROW(tally.take(window, 0.0), std::domain_error);
  window.rate_hz = 8000.0;
  EXPECT_THROW(tally.take(window, 0.5), std::domain_error);
}

}  // namespace
}  // namespace plexor::analysis
