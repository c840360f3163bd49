#include "analysis/verdicts.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <string>
#include <vector>

#include "analysis/figures.hpp"
#include "base/random.hpp"

namespace plexor::analysis {
namespace {

using scenario::Accept;
using scenario::Limit;

Limit at_least(double value, double confidence = 0.95) {
  return {.side = Limit::Side::at_least, .value = value, .confidence = confidence};
}
Limit at_most(double value, double confidence = 0.95) {
  return {.side = Limit::Side::at_most, .value = value, .confidence = confidence};
}

DeviceEvidence panel() {
  DeviceEvidence evidence;
  evidence.result.name = "panel";
  return evidence;
}

DeviceEvidence heard(std::uint64_t x, std::uint64_t n) {
  DeviceEvidence evidence = panel();
  evidence.result.detection = proportion_of(x, n);
  return evidence;
}

std::vector<Judged> judge_fixed(const Accept& accept, const std::vector<DeviceEvidence>& devices) {
  return judge_limits(accept, devices, judge::SequentialLimits({}, 0));
}

Verdict judge_one(const Accept& accept, const DeviceEvidence& device) {
  return judge_fixed(accept, {device}).front().verdict;
}

Verdict detection(std::uint64_t x, std::uint64_t n, Limit limit) {
  return judge_one({.detection_rate = limit}, heard(x, n));
}

Verdict alarms(std::uint64_t incidents, base::Duration quiet, Limit limit) {
  DeviceEvidence device = panel();
  device.result.false_alarms = alarm_rate_of(incidents, quiet);
  return judge_one({.false_alarms_per_hour = limit}, device);
}

/// Hits at 1, 2, 3, ... ms and the rest unanswered.
DeviceEvidence answered(std::uint64_t hits, std::uint64_t n) {
  DeviceEvidence device = heard(hits, n);
  for (std::uint64_t i = 1; i <= hits; ++i) device.latencies.push_back(static_cast<double>(i));
  device.latencies.resize(n, std::numeric_limits<double>::infinity());
  return device;
}

Verdict latency_p95(const DeviceEvidence& device, double limit_ms) {
  return judge_one({.latencies = {{.quantile = 0.95, .limit = at_most(limit_ms)}}}, device);
}

// Success run: 0.95^59 = 0.0485 <= 0.05 < 0.0510 = 0.95^58 (R^n <= 1 - C).
TEST(Verdicts, FiftyNineOfFiftyNineShowNinetyFivePercentAndFiftyEightDoNot) {
  EXPECT_EQ(detection(59, 59, at_least(0.95)).judgement, Judgement::pass);
  const Verdict short_of_it = detection(58, 58, at_least(0.95));
  EXPECT_EQ(short_of_it.judgement, Judgement::undecided);
  EXPECT_EQ(short_of_it.more_needed, 1U);
}

// Fails by the upper bound: with none heard it is 1 - 0.05^(1/n): 0.95 exactly at n = 1, below it
// from n = 2 on.
TEST(Verdicts, TwoMissesAloneFailNinetyFivePercentAndOneDoesNot) {
  EXPECT_EQ(detection(0, 2, at_least(0.95)).judgement, Judgement::fail);
  EXPECT_EQ(detection(0, 1, at_least(0.951)).judgement, Judgement::fail);
  EXPECT_EQ(detection(0, 1, at_least(0.949)).judgement, Judgement::undecided);
}

TEST(Verdicts, TheIntervalShownIsTheOneThatJudged) {
  const Verdict passed = detection(100, 100, at_least(0.95));
  EXPECT_EQ(passed.interval->sides, Sides::lower);
  const Verdict failed = detection(50, 100, at_least(0.95));
  EXPECT_EQ(failed.interval->sides, Sides::upper);
  EXPECT_LT(failed.interval->upper, 0.95);
  const Verdict undecided = detection(97, 100, at_least(0.95));
  EXPECT_EQ(undecided.interval->sides, Sides::lower);
  EXPECT_LT(undecided.interval->lower, 0.95);
}

TEST(Verdicts, ABoundEqualToTheLimitClearsIt) {
  const double lower = clopper_pearson(90, 100, 0.95, Sides::lower).lower;
  const double upper = clopper_pearson(90, 100, 0.95, Sides::upper).upper;
  EXPECT_EQ(detection(90, 100, at_least(lower)).judgement, Judgement::pass);
  EXPECT_EQ(detection(90, 100, at_least(std::nextafter(lower, 1.0))).judgement,
            Judgement::undecided);
  EXPECT_EQ(detection(90, 100, at_least(upper)).judgement, Judgement::undecided);
  EXPECT_EQ(detection(90, 100, at_least(std::nextafter(upper, 1.0))).judgement, Judgement::fail);
}

TEST(Verdicts, TheConfidenceIsTheLimitsOwn) {
  // 0.95^45 = 0.0994 <= 0.1: enough for 90 %, not for 95 %.
  EXPECT_EQ(detection(45, 45, at_least(0.95, 0.90)).judgement, Judgement::pass);
  EXPECT_EQ(detection(45, 45, at_least(0.95, 0.95)).judgement, Judgement::undecided);
  EXPECT_DOUBLE_EQ(detection(45, 45, at_least(0.95, 0.90)).interval->confidence, 0.90);
}

TEST(Verdicts, SoManyMoreTrialsAsAskedForDoDecideAtTheSameEstimate) {
  for (std::uint32_t i = 0; i < 60; ++i) {
    const auto draw = [&](std::uint32_t tap, std::int64_t low, std::int64_t high) {
      return static_cast<std::uint64_t>(
          base::uniform_between({.seed = 11, .trial = i, .tap = tap}, low, high));
    };
    const std::uint64_t n = draw(0, 20, 400);
    const std::uint64_t x = n - draw(1, 0, 20);
    const Verdict verdict = detection(x, n, at_least(0.95));
    if (!verdict.more_needed) continue;
    const std::uint64_t more = n + *verdict.more_needed;
    const auto scaled = static_cast<std::uint64_t>(
        std::llround(static_cast<double>(x) * static_cast<double>(more) / static_cast<double>(n)));
    EXPECT_NE(detection(scaled, more, at_least(0.95)).judgement, Judgement::undecided)
        << x << " of " << n << ", then " << scaled << " of " << more;
  }
}

TEST(Verdicts, AnEstimateAtTheLimitAsksForNoNumberOfTrials) {
  const Verdict verdict = detection(95, 100, at_least(0.95));
  EXPECT_EQ(verdict.judgement, Judgement::undecided);
  EXPECT_FALSE(verdict.more_needed);
}

TEST(Verdicts, NoTrialsAreUndecidedInAPlainSentence) {
  const Verdict verdict = detection(0, 0, at_least(0.95));
  EXPECT_EQ(verdict.judgement, Judgement::undecided);
  EXPECT_FALSE(verdict.estimate);
  EXPECT_FALSE(verdict.interval);
  EXPECT_EQ(verdict.reason, "no valid trial expects an event; the limit is 95 %: undecided");
}

// P(X >= 313 | 320, p) = 0.05, solved by bisection, gives p = 0.95931.
TEST(Verdicts, TheReasonSaysTheNumbers) {
  EXPECT_EQ(detection(313, 320, at_least(0.95)).reason,
            "313 of 320 heard; with 95 % confidence at least 95.9 %; the limit is 95 %: pass");
  const std::string undecided = detection(313, 320, at_least(0.97)).reason;
  EXPECT_EQ(undecided.substr(0, undecided.find("about")),
            "313 of 320 heard; with 95 % confidence at least 95.9 %; the limit is 97 %: "
            "undecided, ");
  EXPECT_TRUE(undecided.ends_with(" more trials would decide")) << undecided;
}

// Garwood with no incident: the upper bound is -ln(1 - C) / hours; ln 20 = 2.9957, ln 10 = 2.3026.
TEST(Verdicts, ThreeSilentHoursShowOnePerHourAtNinetyFivePercent) {
  EXPECT_EQ(alarms(0, std::chrono::hours(3), at_most(1.0)).judgement, Judgement::pass);
  const Verdict short_of_it = alarms(0, std::chrono::hours(1), at_most(1.0));
  EXPECT_EQ(short_of_it.judgement, Judgement::undecided);
  EXPECT_EQ(short_of_it.more_needed, 2U);
  EXPECT_EQ(alarms(0, std::chrono::hours(2), at_most(1.16, 0.90)).judgement, Judgement::pass);
  EXPECT_EQ(alarms(0, std::chrono::hours(2), at_most(1.15, 0.90)).judgement, Judgement::undecided);
}

// Garwood, one-sided 95 % lower bound for 9 incidents: P(N >= 9 | m) = 0.05 gives
// m = 4.6952 by bisection.
TEST(Verdicts, TooManyAlarmsFailByTheLowerBound) {
  const Verdict failed = alarms(9, std::chrono::hours(4), at_most(1.17));
  EXPECT_EQ(failed.judgement, Judgement::fail);
  EXPECT_EQ(failed.interval->sides, Sides::lower);
  EXPECT_EQ(failed.n, 9U);
  EXPECT_DOUBLE_EQ(*failed.estimate, 2.25);
  EXPECT_EQ(alarms(9, std::chrono::hours(4), at_most(1.18)).judgement, Judgement::undecided);
}

TEST(Verdicts, AlarmsWithoutQuietAreUndecided) {
  const Verdict verdict = alarms(0, base::Duration{}, at_most(1.0));
  EXPECT_EQ(verdict.judgement, Judgement::undecided);
  EXPECT_EQ(verdict.reason,
            "there was no valid quiet to listen to; the limit is 1 per hour: undecided");
}

// The largest of 59 values is above the 95th percentile with 1 - 0.95^59 = 95.15 % confidence.
TEST(Verdicts, ALatencyPassesByTheOrderStatisticThatBoundsItsPercentile) {
  EXPECT_EQ(latency_p95(answered(59, 59), 59.0).judgement, Judgement::pass);
  EXPECT_EQ(latency_p95(answered(59, 59), 58.9).judgement, Judgement::undecided);
  EXPECT_EQ(latency_p95(answered(58, 58), 1000.0).judgement, Judgement::undecided);
}

TEST(Verdicts, UnansweredTrialsCountAsInfinitelySlow) {
  EXPECT_EQ(latency_p95(answered(200, 200), 500.0).judgement, Judgement::pass);
  EXPECT_EQ(latency_p95(answered(195, 200), 500.0).judgement, Judgement::undecided);
  const Verdict failed = latency_p95(answered(160, 200), 500.0);
  EXPECT_EQ(failed.judgement, Judgement::fail);
  EXPECT_FALSE(failed.estimate);
  EXPECT_EQ(failed.reason,
            "latency p95 lies among those not heard (of 200 trials, 40 not heard); with 95 % "
            "confidence later than every answer; the limit is 500 ms: fail");
}

TEST(Verdicts, ALatencyAsksForAsManyTrialsAsItsRanksNeed) {
  const Verdict verdict = latency_p95(answered(58, 58), 1000.0);
  EXPECT_EQ(verdict.more_needed, 1U);
}

// Stamped to u = 2 ms, a latency of 59 ms may have been 59 + 1.96 * 2 ms (with 95 %).
TEST(Verdicts, ALatencyIsJudgedWithItsUncertainty) {
  DeviceEvidence device = answered(59, 59);
  device.result.listeners.push_back({.latency_budget = {{{"stamp of the arrival", 2.0}}}});
  const Verdict passed = latency_p95(device, 62.93);
  EXPECT_EQ(passed.judgement, Judgement::pass);
  EXPECT_NEAR(passed.interval->upper, 59.0 + 1.96 * 2.0, 0.001);
  EXPECT_NE(passed.interval->method.find("widened by 3.9 ms"), std::string::npos);
  EXPECT_EQ(latency_p95(device, 62.9).judgement, Judgement::undecided);

  device = answered(160, 200);  // the lower bound lies among the unanswered
  device.result.listeners.push_back({.latency_budget = {{{"stamp of the arrival", 2.0}}}});
  EXPECT_EQ(latency_p95(device, 500.0).judgement, Judgement::fail);
}

TEST(Verdicts, AFailureMustBeBeyondTheUncertaintyToo) {
  DeviceEvidence device = answered(200, 200);
  const auto judged = [&](double limit) { return latency_p95(device, limit).judgement; };
  const double lower = latency_p95(device, 1.0).interval->lower;
  EXPECT_EQ(judged(lower - 0.1), Judgement::fail);
  device.result.listeners.push_back({.latency_budget = {{{"stamp of the arrival", 2.0}}}});
  EXPECT_EQ(judged(lower - 0.1), Judgement::undecided);
  EXPECT_EQ(judged(lower - 3.9), Judgement::undecided);
  EXPECT_EQ(judged(lower - 3.93), Judgement::fail);
}

TEST(Verdicts, EachLimitHoldsForEachDevice) {
  std::vector<DeviceEvidence> devices{heard(100, 100), heard(50, 100)};
  devices[1].result.name = "shelf";
  for (DeviceEvidence& device : devices) device.result.confusions = proportion_of(0, 100);
  const auto judged =
      judge_fixed({.detection_rate = at_least(0.95), .confusion_rate = at_most(0.05)}, devices);
  ASSERT_EQ(judged.size(), 4U);
  EXPECT_EQ(judged[0].verdict.device, "panel");
  EXPECT_EQ(judged[0].verdict.judgement, Judgement::pass);
  EXPECT_EQ(judged[1].verdict.device, "shelf");
  EXPECT_EQ(judged[1].verdict.judgement, Judgement::fail);
  EXPECT_EQ(judged[2].verdict.figure, "confusion rate");
  EXPECT_EQ(judged[2].verdict.judgement, Judgement::pass);
}

TEST(FewestMore, FindsTheSmallestNumberThatDecides) {
  for (const std::uint64_t threshold : {1U, 2U, 3U, 1000U, 4097U, 9'999'999U}) {
    EXPECT_EQ(fewest_more([=](std::uint64_t more) { return more >= threshold; }), threshold);
  }
  EXPECT_FALSE(fewest_more([](std::uint64_t) { return false; }));
}

}  // namespace
}  // namespace plexor::analysis
