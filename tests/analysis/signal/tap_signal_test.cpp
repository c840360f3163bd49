#include "analysis/signal/tap_signal.hpp"

#include <gmock/gmock.h>

#include <algorithm>

#include "analysis/signal/made_waves.hpp"

namespace plexor::analysis {
namespace {

using testing::HasSubstr;

TEST(TapSignal, FindsAModesFrequencyAndLossFactor) {
  for (const MadeMode& mode : {MadeMode{187.3, 0.02, 800}, MadeMode{412.7, 0.03, 300},
                               MadeMode{96.1, 0.05, 1200}, MadeMode{1203.4, 0.01, 500}}) {
    const TapSignal signal = signal_of({mode});
    ASSERT_EQ(signal.lines.size(), 1U) << mode.hz;
    EXPECT_NEAR(signal.lines[0].hz, mode.hz, signal.resolution_hz / 10.0);
    ASSERT_TRUE(signal.decay) << signal.decay.why_not;
    EXPECT_EQ(signal.decay->way, DecayWay::successive_peaks);
    EXPECT_NEAR(*signal.decay->loss_factor / mode.loss_factor, 1.0, 0.03) << mode.hz;
  }
}

TEST(TapSignal, ItsIntervalHoldsTheLossFactorAboutAsOftenAsItSays) {
  int held = 0;
  for (std::uint64_t seed = 0; seed < 100; ++seed) {
    const TapSignal signal = signal_of({{240.0, 0.025, 150.0}}, {.seed = seed});
    ASSERT_TRUE(signal.decay);
    const Interval& interval = *signal.decay->loss_factor_interval;
    held += interval.lower <= 0.025 && 0.025 <= interval.upper ? 1 : 0;
  }
  RecordProperty("held_of_100", held);
  EXPECT_GE(held, 88);
}

TEST(TapSignal, TellsTwoCloseModesApart) {
  const TapSignal signal = signal_of({{300.0, 0.008, 500.0}, {340.0, 0.008, 400.0}});
  ASSERT_EQ(signal.lines.size(), 2U);
  EXPECT_NEAR(signal.lines[0].hz, 300.0, signal.resolution_hz / 4.0);
  EXPECT_NEAR(signal.lines[1].hz, 340.0, signal.resolution_hz / 4.0);
  ASSERT_TRUE(signal.decay) << signal.decay.why_not;
  EXPECT_EQ(signal.decay->way, DecayWay::band);
  EXPECT_NEAR(*signal.decay->loss_factor, 0.008, 0.0012);
}

// Within the resolution: one line, and an envelope that sinks to nothing and comes again.
TEST(TapSignal, ABeatIsNotTakenForADecay) {
  const TapSignal slow = signal_of({{200.0, 0.002, 400.0}, {201.2, 0.002, 400.0}});
  EXPECT_EQ(slow.lines.size(), 1U);
  EXPECT_FALSE(slow.decay);
  const TapSignal fast = signal_of({{200.0, 0.01, 400.0}, {204.0, 0.01, 400.0}});
  EXPECT_EQ(fast.lines.size(), 2U);
  ASSERT_TRUE(fast.decay) << fast.decay.why_not;
  EXPECT_EQ(fast.decay->way, DecayWay::broadband);
  EXPECT_NEAR(fast.decay->time_constant_s, 0.159, 0.03);
  EXPECT_FALSE(fast.decay->loss_factor);
}

TEST(TapSignal, DominantModeAmongManyDecaysAtItsOwnPace) {
  const TapSignal signal = signal_of(
      {{150.0, 0.02, 900.0}, {260.0, 0.02, 500.0}, {390.0, 0.02, 500.0}, {610.0, 0.02, 400.0}});
  ASSERT_GE(signal.lines.size(), 4U);
  ASSERT_TRUE(signal.decay) << signal.decay.why_not;
  EXPECT_NEAR(*signal.decay->hz, 150.0, 1.0);
  EXPECT_NEAR(*signal.decay->loss_factor, 0.02, 0.002);
}

TEST(TapSignal, NoiseAloneHasNoPeakAndNoFrequency) {
  int peaks = 0;
  for (std::uint64_t seed = 0; seed < 100; ++seed) {
    const TapSignal signal = signal_of({}, {.count = 3000, .seed = seed});
    peaks += signal.peak ? 1 : 0;
    EXPECT_LE(signal.lines.size(), signal.peak ? 1U : 0U);
    if (signal.peak) continue;
    EXPECT_EQ(signal.why_no_lines, "not clear of the noise");
    EXPECT_EQ(signal.decay.why_not, "not clear of the noise");
    EXPECT_FALSE(signal.ring_down_s);
  }
  EXPECT_LE(peaks, 4);
}

TEST(TapSignal, MeasuresBaselineAndNoiseWhateverAFewOutliers) {
  MadeWave wave{.baseline = 2040.3, .noise_rms = 3.0};
  wave.samples.assign(wave.count, 2040.3);
  wave.samples[100] += 900.0;
  wave.samples[101] -= 900.0;
  wave.knock(500.0, {{200.0, 0.02, 600.0}});
  const auto codes = wave.values();
  const TapSignal signal = tap_signal(wave.window(codes, 500.0));
  EXPECT_NEAR(signal.quiet->baseline, 2040.3, 0.5);
  EXPECT_NEAR(signal.quiet->noise_rms, 3.0, 0.3);
  EXPECT_EQ(signal.quiet->samples, 498U);
}

TEST(TapSignal, ASilentLineHasTheNoiseOfRounding) {
  const TapSignal signal = signal_of({{200.0, 0.02, 600.0}}, {.noise_rms = 0.0});
  EXPECT_NEAR(signal.quiet->noise_rms, 1.0 / std::sqrt(12.0), 1e-9);
}

TEST(TapSignal, PeakHasItsSignAndItsTime) {
  const TapSignal up = signal_of({{100.0, 0.02, 600.0}});
  EXPECT_NEAR(up.peak->codes, 600.0 * std::exp(-std::numbers::pi * 0.02 / 4.0), 8.0);
  EXPECT_NEAR(up.peak->seconds, 0.0025, 0.0004);
  EXPECT_NEAR(*up.snr_db, 20.0 * std::log10(up.peak->codes / up.quiet->noise_rms), 1e-9);
  EXPECT_LT(signal_of({{100.0, 0.02, -600.0}}).peak->codes, -500.0);
}

TEST(TapSignal, ClippedPeakIsABoundAndTheDecayIsTakenFromTheRest) {
  const TapSignal signal = signal_of({{187.3, 0.02, 6000.0}});
  EXPECT_GT(signal.clipped, 20U);
  EXPECT_TRUE(signal.peak->is_bound);
  ASSERT_EQ(signal.lines.size(), 1U);
  EXPECT_NEAR(signal.lines[0].hz, 187.3, 1.0);
  ASSERT_TRUE(signal.decay);
  EXPECT_NEAR(*signal.decay->loss_factor, 0.02, 0.001);
}

TEST(TapSignal, ClippedToItsEndHasNoDecay) {
  MadeWave wave{.count = 700};
  wave.samples.assign(wave.count, wave.baseline);
  const TapSignal signal = signal_of({{187.3, 0.0001, 60000.0}}, wave);
  EXPECT_TRUE(signal.lines.empty());
  EXPECT_THAT(signal.decay.why_not, HasSubstr("clipped"));
  EXPECT_THAT(signal.why_no_lines, HasSubstr("clipped"));
}

// A channel without a bias rests at its lower rail.
TEST(TapSignal, RestingAtARailIsNotClipping) {
  MadeWave wave{.baseline = 0.0, .noise_rms = 0.3};
  wave.samples.assign(wave.count, 0.0);
  const TapSignal signal = signal_of({{187.3, 0.02, 600.0}}, wave);
  EXPECT_EQ(signal.clipped, 0U);
  EXPECT_NEAR(signal.peak->codes, 580.0, 15.0);
}

TEST(TapSignal, SaysThatTheNextKnockCameFirst) {
  MadeWave wave;
  wave.knock(500.0, {{100.0, 0.01, 600.0}});
  wave.knock(700.0, {{100.0, 0.01, 600.0}});
  const auto codes = wave.values();
  TapWindow window = wave.window(codes, 500.0);
  window.end = 700;
  window.tap_follows = true;
  const TapSignal first = tap_signal(window);
  EXPECT_EQ(first.ring_down_s.why_not, "the next knock came first");
  EXPECT_FALSE(first.decay);
  EXPECT_EQ(first.decay.why_not, "the next knock came before it had died away enough");
  window.tap_follows = false;
  EXPECT_EQ(tap_signal(window).ring_down_s.why_not, "the recording ended first");
}

TEST(TapSignal, RingsDownWhenItsEnvelopeMeetsTheNoise) {
  const TapSignal signal = signal_of({{200.0, 0.03, 800.0}});
  const double tau = 1.0 / (std::numbers::pi * 200.0 * 0.03);
  const double expected = tau * std::log(800.0 / signal.quiet->reach(10'000));
  ASSERT_TRUE(signal.ring_down_s);
  EXPECT_GT(*signal.ring_down_s, expected - 0.1 * tau);
  EXPECT_LT(*signal.ring_down_s, expected + 0.5 * tau);  // noise on top of what is left
}

TEST(TapSignal, LeavesOutHumThatWasThereBefore) {
  MadeWave wave{.quiet = 2000};
  for (std::size_t i = 0; i < wave.count; ++i) {
    wave.samples[i] +=
        20.0 * std::sin(2.0 * std::numbers::pi * 50.0 * static_cast<double>(i) / 1e4);
  }
  wave.knock(2000.0, {{410.0, 0.02, 500.0}});
  const auto codes = wave.values();
  const TapSignal signal = tap_signal(wave.window(codes, 2000.0));
  ASSERT_EQ(signal.lines.size(), 1U);
  EXPECT_NEAR(signal.lines[0].hz, 410.0, 1.0);
}

TEST(TapSignal, WithoutQuietBeforeItSaysSo) {
  MadeWave wave{.quiet = 10};
  wave.knock(10.0, {{410.0, 0.02, 500.0}});
  const auto codes = wave.values();
  const TapSignal signal = tap_signal(wave.window(codes, 10.0));
  EXPECT_FALSE(signal.peak);
  EXPECT_EQ(signal.peak.why_not, "too few samples before the first contact");
  TapWindow outside = wave.window(codes, 20'000.0);
  EXPECT_THROW((void)tap_signal(outside), std::domain_error);
}

// physics.md, section 3.
TEST(TapSignal, AgreesWithTheFormulasOfDecay) {
  const double tau = 1.0 / (std::numbers::pi * 120.0 * 0.02);
  EXPECT_NEAR(t60_of(tau), 0.916169, 0.0005);
  EXPECT_NEAR(loss_factor_of(120.0, tau), 0.02, 1e-12);
  // x0/xn = 1/0.3 over 10 periods: zeta 0.0191583; eta is twice that for light damping.
  const double decrement = std::log(1.0 / 0.3) / 10.0;
  EXPECT_NEAR(loss_factor_of(1.0, 1.0 / decrement) / 2.0, 0.0191583, 0.0001);
  const TapSignal signal = signal_of({{100.0, decrement / std::numbers::pi, 1500.0}});
  EXPECT_NEAR(*signal.decay->loss_factor / 2.0, 0.0191583, 0.0003);
}

}  // namespace
}  // namespace plexor::analysis
