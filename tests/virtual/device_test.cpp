#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <string>

#include "virtual/front_end.hpp"
#include "virtual/link.hpp"
#include "virtual/peak_detector.hpp"
#include "workshop.hpp"

namespace plexor::virtual_rig {
namespace {

using ::testing::IsEmpty;

constexpr std::int32_t device_mid_rail = 2048;

PeakDetector make_detector(std::int64_t window, double k_sigma, double min_lsb = 0.0,
                           double influence = 0.0) {
  return PeakDetector({window, k_sigma, min_lsb, influence}, device_mid_rail);
}

int flags_in(PeakDetector& detector, const std::vector<std::int32_t>& codes) {
  int count = 0;
  for (const auto code : codes) count += detector.flags(code) ? 1 : 0;
  return count;
}

TEST(PeakDetector, DoesNotCountTheTestedSampleInItsOwnWindow) {
  // With the sample inside, z could not exceed (n - 1) / sqrt(n) = 2.47 at n = 8.
  PeakDetector detector = make_detector(8, 3.0);
  EXPECT_EQ(flags_in(detector, {100, 101, 100, 99, 100, 101, 99, 100}), 0);
  EXPECT_TRUE(detector.flags(120));
}

TEST(PeakDetector, FlagsNothingWhileItsFirstWindowFills) {
  PeakDetector detector = make_detector(8, 3.0);
  EXPECT_EQ(flags_in(detector, {100, 100, 100, 4000, 0, 100, 100, 100}), 0);
}

TEST(PeakDetector, TakesTheDeviationOfASilentLineAsOneStep) {
  PeakDetector detector = make_detector(64, 5.0);
  EXPECT_EQ(flags_in(detector, std::vector<std::int32_t>(64, 2048)), 0);
  EXPECT_FALSE(detector.flags(2053));
  EXPECT_TRUE(detector.flags(2054 + 1));  // the 5 before is in the window now
}

TEST(PeakDetector, FlagsBothSidesBeyondTheMinimumOnly) {
  PeakDetector detector = make_detector(64, 2.0, 20.0);
  EXPECT_EQ(flags_in(detector, std::vector<std::int32_t>(64, 2048)), 0);
  EXPECT_TRUE(detector.flags(2048 + 21));
  EXPECT_TRUE(detector.flags(2048 - 21));
  EXPECT_FALSE(detector.flags(2048 + 20));
}

TEST(PeakDetector, InfluenceDecidesWhetherAStepBecomesTheNewNormal) {
  const auto flags_after_a_step = [](double influence) {
    PeakDetector detector = make_detector(64, 5.0, 0.0, influence);
    (void)flags_in(detector, std::vector<std::int32_t>(64, 2000));
    return flags_in(detector, std::vector<std::int32_t>(500, 2100));
  };
  EXPECT_EQ(flags_after_a_step(0.0), 500);
  EXPECT_LT(flags_after_a_step(0.5), 64);
}

TEST(PeakDetector, FlagsQuietNoiseAboutAsOftenAsANormalTailSays) {
  // Two-sided tail beyond 4 sd: 6.33e-5 (normal distribution). The window's estimate of the
  // deviation and the rounding of codes leave some slack.
  const FrontEndSettings converter{
      .rate_hz = 8000, .bits = 12, .reference_mv = 4096, .noise_mv = 20.0};
  FrontEnd front_end(converter, 1.0, 0, 99);
  PeakDetector detector = make_detector(1024, 4.0);
  int flagged = 0;
  std::vector<std::int32_t> codes(Sensor::block);
  constexpr int blocks = 8000;
  for (int i = 0; i < blocks; ++i) {
    front_end.convert(i * std::int64_t{Sensor::block}, {}, codes);
    flagged += flags_in(detector, codes);
  }
  const double expected = 6.33e-5 * blocks * Sensor::block;
  EXPECT_NEAR(flagged, expected, 0.10 * expected + 5.0 * std::sqrt(expected));
}

TEST(SerialLink, TakesTenBitsACharacterAndUpToOnePoll) {
  Link line(SerialLink{9600, 16ms}, 0, 1);
  double sum_ms = 0.0;
  constexpr int n = 2000;
  for (int i = 0; i < n; ++i) {
    const auto delay = line.arrival("call", base::segment_start) - base::segment_start;
    ASSERT_GE(delay, 5208us);  // "call\n" at 9600 baud: 50 bits, 5.208 ms
    ASSERT_LE(delay, 5209us + 16ms);
    sum_ms += base::to_ms(delay);
  }
  EXPECT_NEAR(sum_ms / n, 5.208 + 8.0, 5.0 * 16.0 / std::sqrt(12.0 * n));
}

TEST(RadioLink, WaitsForTheNextBeacon) {
  // The mean wait for a sleeping station is half a beacon interval (physics.md section 6).
  constexpr base::Duration beacon = 102400us;
  Link radio(RadioLink{.overhead = 20ms, .beacon = beacon}, 0, 1);
  const base::Instant first = radio.arrival("call", base::segment_start);
  double sum_ms = 0.0;
  constexpr int n = 2000;
  for (int i = 0; i < n; ++i) {
    const base::Instant sent = base::segment_start + i * 1234567us;
    const base::Instant arrival = radio.arrival("call", sent);
    ASSERT_GE(arrival - sent, 20ms);
    ASSERT_LT(arrival - sent, 20ms + beacon);
    ASSERT_EQ((arrival - first) % beacon, 0ns);
    sum_ms += base::to_ms(arrival - sent);
  }
  EXPECT_NEAR(sum_ms / n, 20.0 + 51.2, 5.0 * 102.4 / std::sqrt(12.0 * n));
}

std::vector<base::Event> answers(const Simulation& simulation,
                                 const std::vector<base::Duration>& contacts) {
  const rig::RigFile rig = workshop_rig();
  VirtualRig virtual_rig(rig, simulation, 5, false);
  virtual_rig.fire(pulses_for(rig, base::segment_start + 1s, contacts));
  return only<base::Event>(observe_all(virtual_rig, base::segment_start + 4s));
}

/// What was reported, "nothing", or "several".
std::string answer(const std::vector<base::Duration>& contacts) {
  const auto events = answers(workshop_simulation(), contacts);
  if (events.empty()) return "nothing";
  return events.size() == 1 ? events.front().name : "several";
}

TEST(Firmware, RecognisesRhythmsByTheirIntervals) {
  EXPECT_EQ(answer({0ms, 190ms}), "call");
  EXPECT_EQ(answer({0ms, 180ms, 360ms}), "kiln");
  EXPECT_EQ(answer({0ms}), "nothing");
  EXPECT_EQ(answer({0ms, 400ms}), "nothing");
  EXPECT_EQ(answer({0ms, 180ms, 360ms, 540ms}), "nothing");
}

TEST(Firmware, ReportsADecisionGapAndTheLineAfterTheLastKnock) {
  const auto events = answers(workshop_simulation(), {0ms, 190ms});
  ASSERT_EQ(events.size(), 1U);
  const auto latency = events[0].arrival - (base::segment_start + 1190ms);
  EXPECT_GT(latency, 450ms + 5ms - 1ms);         // transit scatter below 1 ms
  EXPECT_LT(latency, 450ms + 6ms + 16ms + 3ms);  // the peak is found within 2 ms of the contact
}

TEST(Firmware, AShortLockoutHearsTheRingDownAsASecondKnock) {
  Simulation simulation = workshop_simulation();
  simulation.sensor->surface.plate.mounting_loss = 0.01;
  firmware_of(simulation).rhythms = {{"double", {{20ms, 60ms}}}};
  EXPECT_THAT(answers(simulation, {0ms}), IsEmpty());
  firmware_of(simulation).lockout = 30ms;
  EXPECT_EQ(answers(simulation, {0ms}).size(), 1U);
}

TEST(Firmware, ALockoutLongerThanTheIntervalLosesTheSecondKnock) {
  Simulation simulation = workshop_simulation();
  firmware_of(simulation).lockout = 250ms;
  EXPECT_THAT(answers(simulation, {0ms, 190ms}), IsEmpty());
}

TEST(Firmware, HearsTheVeryFirstTap) {
  // It has been on for a while when a run begins: its window need not fill first.
  const rig::RigFile rig = workshop_rig();
  VirtualRig virtual_rig(rig, workshop_simulation(), 5, false);
  virtual_rig.fire(pulses_for(rig, base::segment_start + 60ms, {0ms, 190ms}));
  EXPECT_EQ(only<base::Event>(observe_all(virtual_rig, base::segment_start + 2s)).size(), 1U);
}

TEST(Firmware, EndlessKnocksAreNoRhythmAndTakeNoMemory) {
  Simulation simulation = workshop_simulation();
  peak_of(simulation) = {.window = 8, .k_sigma = 1.0};
  simulation.sensor->front_end.noise_mv = 1000;
  firmware_of(simulation).lockout = 0ms;
  VirtualRig virtual_rig(workshop_rig(), simulation, 5, false);
  EXPECT_THAT(only<base::Event>(observe_all(virtual_rig, base::segment_start + 60s)), IsEmpty());
}

TEST(Firmware, AnInsensitiveUnitHearsNothing) {
  Simulation simulation = workshop_simulation();
  firmware_of(simulation).sensitivity = 0.01;
  EXPECT_THAT(answers(simulation, {0ms, 190ms}), IsEmpty());
}

/// The events of `trials` calls, one every 3 s, and the calls' last contacts.
struct Heard {
  std::vector<base::Event> events;
  std::vector<rig::ContactSensed> contacts;
};
Heard hear_calls(const DiceSettings& dice, int trials) {
  const rig::RigFile rig = workshop_rig();
  VirtualRig virtual_rig(rig, dice_simulation(dice), 11, false);
  Heard heard;
  for (int i = 1; i <= trials; ++i) {
    const base::Instant first = base::segment_start + i * 3s;
    virtual_rig.fire(pulses_for(rig, first, {0ms, 190ms}));
    const auto all = observe_all(virtual_rig, first + 2s);
    for (const auto& event : only<base::Event>(all)) heard.events.push_back(event);
    heard.contacts.push_back(only<rig::ContactSensed>(all).back());
  }
  return heard;
}

TEST(Dice, DetectWithTheStatedProbability) {
  DiceSettings dice = sure_dice();
  dice.detects = 0.9;
  constexpr int trials = 5000;
  const auto hits = static_cast<double>(hear_calls(dice, trials).events.size());
  EXPECT_NEAR(hits, 0.9 * trials, 4.0 * std::sqrt(trials * 0.9 * 0.1));
  EXPECT_EQ(hear_calls(sure_dice(), 200).events.size(), 200U);
}

TEST(Dice, LatencyIsFixedPlusItsSpread) {
  for (const auto kind : {DiceSettings::Spread::uniform, DiceSettings::Spread::exponential}) {
    DiceSettings dice = sure_dice();
    dice.spread_kind = kind;
    dice.spread = 40ms;
    const Heard heard = hear_calls(dice, 2000);
    ASSERT_EQ(heard.events.size(), heard.contacts.size());
    double sum_ms = 0.0;
    for (std::size_t i = 0; i < heard.events.size(); ++i) {
      const auto latency = heard.events[i].arrival - heard.contacts[i].at;
      ASSERT_GE(latency, 500ms);
      sum_ms += base::to_ms(latency - 500ms);
    }
    const bool even = kind == DiceSettings::Spread::uniform;
    EXPECT_NEAR(sum_ms / 2000, even ? 20.0 : 40.0, 5.0 * 40.0 / std::sqrt(2000.0));
  }
}

TEST(Dice, FalseAlarmsComeAtTheStatedRate) {
  DiceSettings dice = sure_dice();
  dice.false_alarms_per_hour = 3.0;
  VirtualRig rig(workshop_rig(), dice_simulation(dice), 17, false);
  const auto alarms = observe_all(rig, base::segment_start + 1000h);
  EXPECT_NEAR(static_cast<double>(alarms.size()), 3000.0, 4.0 * std::sqrt(3000.0));
}

TEST(Dice, IgnoreUnknownRhythms) {
  EXPECT_THAT(answers(dice_simulation(sure_dice()), {0ms, 400ms}), IsEmpty());
  EXPECT_EQ(answers(dice_simulation(sure_dice()), {0ms, 200ms}).size(), 1U);
}

}  // namespace
}  // namespace plexor::virtual_rig
