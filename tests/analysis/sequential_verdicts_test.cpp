#include "analysis/sequential_verdicts.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "analysis/provable.hpp"
#include "journal_builder.hpp"
#include "judge/sequential_estimate.hpp"

namespace plexor::analysis {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::Not;

const std::string tested_hits =
    "detection_rate = { sequential = { good = 0.98, bad = 0.95, alpha = 0.05, beta = 0.05 } }\n";

/// A run that ended after `trials` of 800 planned.
JournalBuilder run_of(std::uint64_t hits, std::uint64_t trials) {
  JournalBuilder run;
  run.accept(tested_hits).plans(800).hears(hits, trials);
  return run;
}

TEST(SequentialVerdicts, PassWhereTheTestDoes) {
  const Results results = run_of(90, 90).results();
  const Verdict& running = results.verdicts.at(0);
  EXPECT_EQ(running.judgement, Judgement::undecided);
  EXPECT_EQ(running.more_needed, 772U - 90U);
  EXPECT_THAT(running.reason,
              HasSubstr("the test had not ended: undecided, a plan of 772 trials always"));
  EXPECT_THAT(results.headline, HasSubstr("the journal holds 90 valid trials of 800 planned"));

  const Results passed = run_of(97, 97).results();
  EXPECT_EQ(passed.overall, Judgement::pass) << passed.headline;
  const Verdict& verdict = passed.verdicts.at(0);
  EXPECT_EQ(verdict.judgement, Judgement::pass);
  EXPECT_EQ(verdict.n, 96U) << "one was tapped while the test ended";
  EXPECT_EQ(verdict.sequential->used, 96.0);
  EXPECT_EQ(verdict.sequential->at_most, 772.0);
  EXPECT_EQ(verdict.sequential->failures, 0U);
  EXPECT_EQ(passed.trials_planned, 800U);
  EXPECT_EQ(passed.trials_spared, 703U);
  EXPECT_THAT(verdict.reason,
              AllOf(HasSubstr("heard 96 of 96 knocks: that was enough to pass"),
                    HasSubstr("one with 95 % passes in at most 5 %"), HasSubstr("100.0 %")));
}

TEST(SequentialVerdicts, FailWhereTheTestDoes) {
  const Results results = run_of(0, 10).results();
  EXPECT_EQ(results.overall, Judgement::fail) << results.headline;
  EXPECT_THAT(results.verdicts.at(0).reason, HasSubstr("that was enough to fail"));
}

TEST(SequentialVerdicts, AreEstimatedAsTheirStopAsksFor) {
  const Results results = run_of(97, 97).results();
  const Verdict& verdict = results.verdicts.at(0);
  const auto limits = judge::sequential_limits(
      scenario::parse_scenario(results.header.scenario_text, "scenario.toml"));
  const auto estimate = judge::sequential_estimate(
      *limits[0].design, {.standing = judge::Standing::pass, .failures = 0, .exposure = 96.0},
      0.90);
  EXPECT_GT(estimate.lower, 0.95) << "a pass excludes the bad rate";
  EXPECT_EQ(verdict.estimate, estimate.median_unbiased);
  EXPECT_EQ(verdict.interval->lower, estimate.lower);
  EXPECT_EQ(verdict.interval->upper, estimate.upper);
  EXPECT_EQ(verdict.interval->sides, Sides::two);
  const DeviceResult& device = results.devices.at(0);
  EXPECT_FALSE(device.detection.exact || device.detection.wilson);
  EXPECT_FALSE(device.rhythms.at(0).correct.wilson);
  EXPECT_EQ(device.detection.n, 97U);
}

TEST(SequentialVerdicts, SayHowMuchMoreWhereThePlanEndsFirst) {
  JournalBuilder run;
  run.accept(tested_hits);
  for (int i = 0; i < 3; ++i) run.knock();
  for (int i = 0; i < 117; ++i) run.knock().heard("call", 400ms);
  run.ended();
  const Results results = run.results();
  EXPECT_EQ(results.overall, Judgement::undecided);
  const Verdict& verdict = results.verdicts.at(0);
  EXPECT_THAT(verdict.reason, HasSubstr("the plan ended before the test did: undecided"));
  EXPECT_EQ(verdict.more_needed, 772U - 120U);
}

TEST(SequentialVerdicts, SayWhereThereWasNothingToTest) {
  JournalBuilder run;
  run.accept(tested_hits).hears(20, 20);
  const Verdict verdict = run.results().verdicts.at(0);
  EXPECT_EQ(verdict.judgement, Judgement::undecided);
  EXPECT_FALSE(verdict.interval);
  EXPECT_THAT(verdict.reason, HasSubstr("nothing to test"));
}

TEST(SequentialVerdicts, JudgeSharesThatMustStaySmall) {
  JournalBuilder run;
  run.accept("confusion_rate = { sequential = { good = 0.01, bad = 0.2 } }\n").plans(200);
  for (int i = 0; i < 6; ++i) run.knock().heard("kiln", 400ms);
  run.ended();
  const Results results = run.results();
  const Verdict& verdict = results.verdicts.at(0);
  EXPECT_EQ(verdict.figure, "confusion rate");
  EXPECT_FALSE(verdict.at_least);
  EXPECT_EQ(verdict.judgement, Judgement::fail);
  EXPECT_GT(*verdict.estimate, 0.5);
  EXPECT_LT(verdict.interval->lower, *verdict.estimate);
  EXPECT_GE(verdict.interval->upper, *verdict.estimate);
  EXPECT_THAT(verdict.reason, HasSubstr("for another rhythm: that was enough to fail"));
}

TEST(SequentialVerdicts, JudgeAlarmsByTheHour) {
  JournalBuilder run;
  run.accept("false_alarms_per_hour = { sequential = { good = 0.5, bad = 8 } }\n");
  run.knock().heard("call", 400ms).quiet(1h).ended();
  const Results results = run.results();
  const Verdict& verdict = results.verdicts.at(0);
  EXPECT_EQ(verdict.judgement, Judgement::pass);
  EXPECT_LT(verdict.sequential->used, 1.0);
  EXPECT_EQ(verdict.n, 0U);
  EXPECT_FALSE(results.devices.at(0).false_alarms.exact);
}

TEST(SequentialVerdicts, LeaveALiftedRunItsWholePlan) {
  JournalBuilder run;
  run.accept("false_response_rate = { sequential = { good = 0.01, bad = 0.3 } }\n");
  run.lifted().plans(100);
  for (int i = 0; i < 30; ++i) run.knock();
  run.ended();
  const Results results = run.results();
  EXPECT_EQ(results.trials_spared, 0U);
  EXPECT_EQ(results.overall, Judgement::undecided) << results.headline;
}

Provable proved(const std::string& accept, std::uint32_t calls) {
  JournalBuilder run;
  run.accept(accept).plans(calls).knock();
  const std::string text = run.results().header.scenario_text;
  return what_can_be_proved(scenario::parse_scenario(text, "scenario.toml")).at(0);
}

TEST(SequentialVerdicts, AreForetoldWithTheirAverages) {
  const Provable found = proved(tested_hits, 800);
  EXPECT_TRUE(found.can_pass);
  EXPECT_EQ(found.needed, 96.0);
  EXPECT_NEAR(found.power, 0.95, 0.001);
  EXPECT_THAT(found.sentence, AllOf(HasSubstr("800 trials planned, ends after 772 trials at most"),
                                    HasSubstr("221 trials at 98 % and 165 trials at 95 %"),
                                    HasSubstr("(a fixed plan with the same errors: 386 trials)")));
  EXPECT_THAT(found.power_sentence, Not(HasSubstr("undecided")));
}

TEST(SequentialVerdicts, AreForetoldWhereThePlanIsTooShort) {
  const Provable some = proved(tested_hits, 200);
  EXPECT_TRUE(some.can_pass);
  EXPECT_THAT(some.power_sentence,
              AllOf(HasSubstr("ends undecided in up to"),
                    HasSubstr("raise trials to 772 or more to decide always")));
  const Provable none = proved(tested_hits, 50);
  EXPECT_FALSE(none.can_pass);
  EXPECT_THAT(none.sentence, HasSubstr("cannot pass: 50 trials planned, but even a perfect device "
                                       "needs 97 trials; raise trials to 97"));
}

}  // namespace
}  // namespace plexor::analysis
