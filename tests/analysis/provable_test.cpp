#include "analysis/provable.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>

#include "analysis/intervals.hpp"
#include "base/error.hpp"
#include "scenario/scenario.hpp"

namespace plexor::analysis {
namespace {

using ::testing::HasSubstr;

std::vector<Provable> provable(int trials, int quiet_s, const std::string& accept) {
  const std::string text =
      "[scenario]\nname = \"plan\"\npurpose = \"regression\"\nseed = 1\n"
      "[rhythm.call]\ncontacts_ms = [0, 190]\n"
      "[[block]]\nrhythm = \"call\"\nstrike_m_s = 0.9\nwindow_ms = 1200\ngap_ms = 1500\ntrials = " +
      std::to_string(trials) + "\n[[block]]\nquiet_s = " + std::to_string(quiet_s) +
      "\n[accept]\n" + accept;
  return what_can_be_proved(scenario::parse_scenario(text, "plan.toml"));
}

// Success run R^n <= 1 - C: 0.95^59 = 0.0485, 0.95^58 = 0.0510.
TEST(Provable, NeedsTheSuccessRunOfThePerfectDevice) {
  const std::string limit = "detection_rate = { at_least = 0.95, confidence = 0.95 }";
  EXPECT_EQ(provable(100, 60, limit).at(0).needed, 59.0);
  EXPECT_TRUE(provable(59, 60, limit).at(0).can_pass);
  const Provable short_by_one = provable(58, 60, limit).at(0);
  EXPECT_FALSE(short_by_one.can_pass);
  EXPECT_THAT(short_by_one.sentence, HasSubstr("even a perfect device needs 59 trials"));
}

TEST(Provable, AllowsExactlyTheFailuresThatTheVerdictAllows) {
  for (const int trials : {59, 93, 320, 1000, 20000}) {
    const auto found =
        provable(trials, 60, "detection_rate = { at_least = 0.95, confidence = 0.95 }").at(0);
    const auto n = static_cast<std::uint64_t>(trials);
    const auto bound = [&](std::uint64_t misses) {
      return clopper_pearson(n - misses, n, 0.95, Sides::lower).lower;
    };
    EXPECT_GE(bound(*found.allowed), 0.95) << trials;
    EXPECT_LT(bound(*found.allowed + 1), 0.95) << trials;
  }
}

TEST(Provable, AllowsForALatencyTheAnswersAboveItsOrderStatistic) {
  for (const int trials : {59, 93, 124, 1000}) {
    const auto found =
        provable(trials, 60, "latency_p95_ms = { at_most = 900, confidence = 0.95 }").at(0);
    const auto n = static_cast<std::uint64_t>(trials);
    EXPECT_EQ(found.allowed, n - quantile_ranks(n, 0.95, 0.95, Sides::upper).upper) << trials;
  }
}

// No alarm in t hours bounds the rate by -ln(0.1) / t: 2 per hour takes 1.1513 h.
TEST(Provable, NeedsHoursForAnAlarmLimit) {
  const std::string limit = "false_alarms_per_hour = { at_most = 2, confidence = 0.9 }";
  const Provable enough = provable(1, 14400, limit).at(0);
  EXPECT_NEAR(*enough.needed, 1.15129, 1e-5);
  EXPECT_EQ(enough.allowed, 4U);  // chi-square table: 7.994 / 4 h is below 2, 9.275 / 4 h is not
  EXPECT_FALSE(provable(1, 4140, limit).at(0).can_pass);
}

// 0.975^59 = 0.2245: a device that fails half as often as it may passes the shortest plan that
// seldom.
TEST(Provable, StatesThePowerForADeviceThatIsBetterThanItsLimit) {
  const Provable shortest =
      provable(59, 60, "detection_rate = { at_least = 0.95, confidence = 0.95 }").at(0);
  EXPECT_NEAR(shortest.power, 0.2245, 5e-5);
  EXPECT_THAT(shortest.power_sentence,
              HasSubstr("a device with 97.5 % (assumed) passes with a probability of 22 %: raise"));
  ASSERT_TRUE(shortest.for_80 && shortest.for_95);
  EXPECT_LT(*shortest.for_80, *shortest.for_95);
  const Provable enough = provable(static_cast<int>(*shortest.for_80), 60,
                                   "detection_rate = { at_least = 0.95, confidence = 0.95 }")
                              .at(0);
  EXPECT_GE(enough.power, 0.80);
}

TEST(Provable, TakesTheFigureThatIsExpected) {
  const auto of = [](const std::string& limit) { return provable(320, 14400, limit).at(0); };
  EXPECT_NEAR(of("detection_rate = { at_least = 0.95, expected = 0.99 }").expected, 0.01, 1e-12);
  EXPECT_EQ(of("false_alarms_per_hour = { at_most = 2, expected = 0.2 }").expected, 0.2);
  EXPECT_GT(of("detection_rate = { at_least = 0.95, expected = 0.99 }").power,
            of("detection_rate = { at_least = 0.95, expected = 0.97 }").power);
  EXPECT_THROW(of("detection_rate = { at_least = 0.95, expected = 0.95 }"), base::InputError);
  EXPECT_THROW(of("false_alarms_per_hour = { at_most = 2, expected = 3 }"), base::InputError);
  EXPECT_THROW(of("latency_p95_ms = { at_most = 900, expected = 800 }"), base::InputError);
}

TEST(Provable, SaysThatPerfectionCannotBeShown) {
  const Provable found = provable(1000, 60, "detection_rate = { at_least = 1 }").at(0);
  EXPECT_FALSE(found.can_pass);
  EXPECT_FALSE(found.needed.has_value());
  EXPECT_THAT(found.sentence, HasSubstr("short of perfection"));
}

TEST(Provable, SaysWhenThePlanHasNothingToJudge) {
  const Provable found = provable(100, 60, "false_response_rate = { at_most = 0.1 }").at(0);
  EXPECT_FALSE(found.can_pass);
  EXPECT_EQ(found.planned, 0.0);
}

}  // namespace
}  // namespace plexor::analysis
