#include "analysis/signal/trigger_advice.hpp"

#include <gmock/gmock.h>

#include <deque>

#include "analysis/signal/made_waves.hpp"

namespace plexor::analysis {
namespace {

using testing::Each;
using testing::HasSubstr;
using testing::Not;

/// A session at a bench with known truth, and the question about it.
class MadeSession {
 public:
  /// One trial of knocks this far apart, each as high as its amplitude says.
  void knock(const std::vector<double>& amplitudes, double apart_s = 0.2, double loss = 0.04,
             double noise_rms = 2.0) {
    MadeWave wave{.noise_rms = noise_rms, .count = 4500, .seed = ++seed_};
    std::vector<RecordedKnock> knocks;
    for (std::size_t i = 0; i < amplitudes.size(); ++i) {
      const double contact = 500.0 + apart_s * wave.rate_hz * static_cast<double>(i);
      wave.knock(contact, {{250.0, loss, amplitudes[i]}});
      knocks.push_back({.contact = contact, .strike_m_s = 1.0});
    }
    codes_.push_back(wave.values());
    trials_.push_back(
        {.values = codes_.back(), .rate_hz = wave.rate_hz, .quiet = 480, .knocks = knocks});
  }
  /// An hour in bins of 100 ms that reach `usual` codes, `times` of them `bump` codes.
  void listen_for_an_hour(std::int32_t usual, std::size_t times = 0, std::int32_t bump = 0) {
    lowest_.emplace_back(36'000, 2048 - usual);
    highest_.emplace_back(36'000, 2048 + usual);
    for (std::size_t i = 0; i < times; ++i) highest_.back()[100 + 300 * i] = 2048 + bump;
    quiet_.push_back({.lowest = lowest_.back(), .highest = highest_.back(), .bin_s = 0.1});
  }
  [[nodiscard]] AdviceQuestion question(double shortest_s = 0.0) const {
    return {.trials = trials_,
            .quiet = quiet_,
            .softest_m_s = 0.5,
            .shortest_interval_s = shortest_s,
            .rails = {.lowest = 0, .highest = 4095}};
  }
  std::vector<RecordedTrial>& trials() { return trials_; }

 private:
  std::deque<std::vector<std::int32_t>> codes_;
  std::deque<std::vector<std::int32_t>> lowest_;
  std::deque<std::vector<std::int32_t>> highest_;
  std::vector<RecordedTrial> trials_;
  std::vector<QuietStretch> quiet_;
  std::uint64_t seed_ = 0;
};

TEST(TriggerAdvice, LiesHalfwayBetweenBackgroundAndWeakKnocks) {
  MadeSession session;
  for (int i = 0; i < 40; ++i) session.knock({400.0 + 10.0 * i});
  session.listen_for_an_hour(10);
  const TriggerAdvice advice = advise_trigger(session.question());
  ASSERT_TRUE(advice.chosen) << advice.why_none;
  EXPECT_EQ(advice.background_codes, 10.0);
  EXPECT_NEAR(advice.weak_peak_codes, 400.0 * std::exp(-std::numbers::pi * 0.04 / 4.0), 10.0);
  EXPECT_NEAR(advice.chosen->threshold, std::sqrt(10.0 * advice.weak_peak_codes), 3.0);
  EXPECT_EQ(advice.chosen->missed, 0U);
  EXPECT_EQ(advice.chosen->spoilt, 0U);
  EXPECT_EQ(advice.chosen->false_triggers, 0U);
  EXPECT_NEAR(advice.chosen->false_per_hour->upper, 3.689, 0.001);
  EXPECT_THAT(advice.reasons, Each(Not(HasSubstr("nan"))));
  EXPECT_THAT(advice.reasons[0], HasSubstr("dB above the background"));
}

// Peaks are spread evenly over the logarithm: the share below a threshold is known.
TEST(TriggerAdvice, TriesThresholdsWithTheMissesThatAreThere) {
  MadeSession session;
  constexpr int knocks = 200;
  for (int i = 0; i < knocks; ++i) session.knock({30.0 * std::pow(30.0, (i + 0.5) / knocks)});
  session.listen_for_an_hour(10);
  const TriggerAdvice advice = advise_trigger(session.question());
  ASSERT_GT(advice.tried.size(), 40U);
  std::uint64_t before = 0;
  for (const TriggerChoice& choice : advice.tried) {
    EXPECT_EQ(choice.knocks, 200U);
    EXPECT_GE(choice.missed, before);
    before = choice.missed;
    const double share =
        std::log(choice.threshold / (30.0 * std::exp(-std::numbers::pi * 0.01))) / std::log(30.0);
    EXPECT_NEAR(static_cast<double>(choice.missed) / knocks, std::clamp(share, 0.0, 1.0), 0.03);
    EXPECT_LE(choice.miss_share.lower, static_cast<double>(choice.missed) / knocks);
    EXPECT_GE(choice.miss_share.upper, static_cast<double>(choice.missed) / knocks);
  }
}

TEST(TriggerAdvice, CountsWhatQuietWouldHaveTriggered) {
  MadeSession session;
  for (int i = 0; i < 20; ++i) session.knock({800.0});
  session.listen_for_an_hour(10, 7, 300);
  const TriggerAdvice advice = advise_trigger(session.question());
  ASSERT_TRUE(advice.chosen) << advice.why_none;
  EXPECT_GT(advice.chosen->threshold, 300.0);
  for (const TriggerChoice& choice : advice.tried) {
    if (choice.threshold > 10.0 && choice.threshold <= 300.0) {
      EXPECT_EQ(choice.false_triggers, 7U);
      EXPECT_EQ(choice.counted_per_hour(), 7.0);
    }
    if (choice.threshold > 300.0) {
      EXPECT_EQ(choice.false_triggers, 0U);
    }
  }
}

TEST(TriggerAdvice, WhereKnocksDrownChoosesWhatSpoilsLeast) {
  MadeSession session;
  for (int i = 0; i < 50; ++i) session.knock({i < 10 ? 100.0 : 600.0});
  session.listen_for_an_hour(10, 5, 250);
  const TriggerAdvice advice = advise_trigger(session.question());
  ASSERT_TRUE(advice.chosen) << advice.why_none;
  EXPECT_GT(advice.chosen->threshold, 250.0);
  EXPECT_EQ(advice.chosen->missed, 10U);
  EXPECT_EQ(advice.chosen->spoilt, 10U);
  EXPECT_NEAR(advice.chosen->spoilt_share(), 0.2, 1e-12);
  EXPECT_THAT(advice.reasons[0], HasSubstr("no threshold keeps them apart"));
}

TEST(TriggerAdvice, LockoutOutlastsTheRinging) {
  MadeSession session;
  for (int i = 0; i < 50; ++i) session.knock({500.0});
  session.listen_for_an_hour(10);
  const TriggerAdvice advice = advise_trigger(session.question());
  ASSERT_TRUE(advice.lockout) << advice.lockout.why_not;
  const double tau = 1.0 / (std::numbers::pi * 250.0 * 0.04);
  const double rings = tau * std::log(500.0 / advice.chosen->threshold);
  EXPECT_NEAR(advice.lockout->bound_s, rings, 0.004);  // a period
  EXPECT_GE(advice.lockout->seconds, 1.1 * advice.lockout->bound_s);
  EXPECT_LT(advice.lockout->seconds, 1.1 * advice.lockout->bound_s + 0.001);
  EXPECT_EQ(advice.lockout->knocks, 50U);
  EXPECT_NEAR(advice.lockout->share, std::pow(0.05, 1.0 / 50.0), 1e-12);
  EXPECT_EQ(advice.chosen->extra, 0U);
}

TEST(TriggerAdvice, LockoutOfManyKnocksIsTheBoundOfTheirQuantile) {
  MadeSession session;
  for (int i = 0; i < 110; ++i) session.knock({500.0, 500.0, i == 7 ? 3000.0 : 500.0}, 0.1);
  session.listen_for_an_hour(10);
  const TriggerAdvice advice = advise_trigger(session.question(0.1));
  ASSERT_TRUE(advice.lockout) << advice.lockout.why_not;
  EXPECT_EQ(advice.lockout->knocks, 330U);
  EXPECT_EQ(advice.lockout->share, 0.99);
}

TEST(TriggerAdvice, ShortLockoutsLetTheRingingTriggerAgain) {
  MadeSession session;
  for (int i = 0; i < 30; ++i) session.knock({800.0, 800.0}, 0.08, 0.01);
  session.listen_for_an_hour(10);
  const TriggerAdvice advice = advise_trigger(session.question(0.08));
  const auto& lowest = advice.tried.front();
  EXPECT_LE(lowest.lockout_s, 0.9 * 0.08);
  EXPECT_GT(lowest.extra, 0U);
  EXPECT_GT(lowest.spoilt, 0U);
}

TEST(TriggerAdvice, SaysWhichIntervalTheSurfaceAllows) {
  MadeSession session;
  for (int i = 0; i < 30; ++i) session.knock({500.0, 500.0}, 0.2);
  session.listen_for_an_hour(10);
  const TriggerAdvice enough = advise_trigger(session.question(0.2));
  ASSERT_TRUE(enough.lockout);
  EXPECT_LT(enough.lockout->shortest_interval_s, 0.2);
  EXPECT_THAT(enough.reasons.back(), HasSubstr("apart are heard one by one"));
}

// Hearing the weak ones takes a threshold at which the strong ones ring for long.
TEST(TriggerAdvice, SaysWhichIntervalTheSurfaceNeeds) {
  MadeSession session;
  for (int i = 0; i < 30; ++i) session.knock({300.0, 2500.0}, 0.2);
  session.listen_for_an_hour(10);
  const TriggerAdvice tight = advise_trigger(session.question(0.02));
  ASSERT_TRUE(tight.lockout) << tight.lockout.why_not;
  EXPECT_GT(tight.lockout->shortest_interval_s, 0.07);
  EXPECT_THAT(tight.reasons.back(), HasSubstr("the rhythms have knocks 20 ms apart"));
  EXPECT_GT(tight.chosen->spoilt, 0U);
}

TEST(TriggerAdvice, RaisesTheThresholdWhereRhythmsAreTooFastForALowerOne) {
  MadeSession session;
  for (int i = 0; i < 30; ++i) session.knock({500.0, 500.0}, 0.2);
  session.listen_for_an_hour(10);
  const TriggerAdvice slow = advise_trigger(session.question(0.2));
  const TriggerAdvice fast = advise_trigger(session.question(0.03));
  EXPECT_GT(fast.chosen->threshold, 1.5 * slow.chosen->threshold);
  EXPECT_LE(fast.lockout->seconds, 0.03);
  EXPECT_EQ(fast.chosen->spoilt, 0U);
}

TEST(TriggerAdvice, WhatRingsIntoTheNextKnockHasNoLockout) {
  MadeSession session;
  for (int i = 0; i < 30; ++i) session.knock({900.0, 900.0}, 0.03, 0.002);
  session.listen_for_an_hour(10);
  const TriggerAdvice advice = advise_trigger(session.question(0.03));
  EXPECT_FALSE(advice.lockout);
  EXPECT_THAT(advice.lockout.why_not, HasSubstr("record longer"));
}

TEST(TriggerAdvice, SaysWhyThereIsNone) {
  MadeSession none;
  none.listen_for_an_hour(10);
  EXPECT_THAT(advise_trigger(none.question()).why_none, HasSubstr("no recorded knocks"));

  MadeSession clipped;
  for (int i = 0; i < 10; ++i) clipped.knock({6000.0});
  EXPECT_THAT(advise_trigger(clipped.question()).why_none, HasSubstr("10 of 10 wanted knocks"));

  MadeSession drowned;
  for (int i = 0; i < 10; ++i) drowned.knock({100.0});
  drowned.listen_for_an_hour(10, 20, 400);
  EXPECT_THAT(advise_trigger(drowned.question()).why_none, HasSubstr("as loud as the knocks"));

  MadeSession mostly_drowned;
  for (int i = 0; i < 10; ++i) mostly_drowned.knock({i < 8 ? 100.0 : 600.0});
  mostly_drowned.listen_for_an_hour(10, 20, 250);
  const TriggerAdvice advice = advise_trigger(mostly_drowned.question());
  EXPECT_THAT(advice.why_none, HasSubstr("as loud as the knocks"));
  EXPECT_FALSE(advice.chosen);
  EXPECT_EQ(advice.lockout.why_not, advice.why_none);

  MadeSession soft;
  soft.knock({500.0});
  AdviceQuestion question = soft.question();
  question.softest_m_s = 2.0;
  EXPECT_THAT(advise_trigger(question).why_none, HasSubstr("as hard as"));
}

TEST(TriggerAdvice, WithoutQuietSaysThatItKnowsOnlyTheNoise) {
  MadeSession session;
  for (int i = 0; i < 10; ++i) session.knock({500.0});
  const TriggerAdvice advice = advise_trigger(session.question());
  ASSERT_TRUE(advice.chosen);
  EXPECT_FALSE(advice.chosen->false_per_hour);
  EXPECT_THAT(advice.reasons[1], HasSubstr("nobody listened to quiet"));
  session.trials()[0].knocks[0].contact = 1e6;
  EXPECT_THROW((void)advise_trigger(session.question()), std::domain_error);
}

}  // namespace
}  // namespace plexor::analysis
