#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "analysis/journal_builder.hpp"

namespace plexor::analysis {
namespace {

using ::testing::HasSubstr;
using ::testing::StartsWith;

constexpr const char* detection_limit = "detection_rate = { at_least = 0.9, confidence = 0.95 }";

JournalBuilder passing() {
  JournalBuilder journal;
  journal.accept(detection_limit);
  journal.hears(60, 60);
  return journal;
}

// 0.05^(1/60) = 0.95130.
TEST(Conclusion, PassesWhenAllLimitsPassAndSaysSoFirst) {
  const Results results = passing().results();
  EXPECT_EQ(results.overall, Judgement::pass);
  EXPECT_EQ(results.headline,
            "Pass: panel heard 60 of 60 knocks (100.0 %, at least 95.1 % with 95 % confidence; "
            "limit 90 %)");
}

// P(X <= 271 | 320, p) = 0.05, solved by bisection, gives p = 0.87905.
TEST(Conclusion, FailsWithTheNumbersOfTheLimitThatFailed) {
  JournalBuilder journal;
  journal.accept("detection_rate = { at_least = 0.95 }").hears(271, 320);
  const Results results = journal.results();
  EXPECT_EQ(results.overall, Judgement::fail);
  EXPECT_EQ(results.headline,
            "Fail: panel heard 271 of 320 knocks (84.7 %, at most 88.0 % with 95 % confidence; "
            "limit 95 %)");
}

TEST(Conclusion, OneFailedDeviceFailsTheRunAndIsNamed) {
  JournalBuilder journal;
  journal.accept(detection_limit).devices({"panel", "shelf"});
  for (int i = 0; i < 60; ++i) journal.knock().heard("call", 400ms, 0);
  const Results results = journal.ended().results();
  EXPECT_EQ(results.overall, Judgement::fail);
  EXPECT_THAT(results.headline, StartsWith("Fail: shelf heard 0 of 60 knocks"));
  EXPECT_THAT(results.headline, HasSubstr("; 1 of 2 limits fails"));
}

TEST(Conclusion, AnUndecidedLimitAsksForMoreTrials) {
  JournalBuilder journal;
  journal.accept(detection_limit).hears(20, 20);
  const Results results = journal.results();
  EXPECT_EQ(results.overall, Judgement::undecided);
  EXPECT_THAT(results.headline, StartsWith("Undecided: panel heard 20 of 20 knocks"));
  EXPECT_THAT(results.headline, HasSubstr("; about 9 more trials would decide"));
}

TEST(Conclusion, AJournalWithoutAnEndIsUndecided) {
  JournalBuilder journal;
  journal.accept(detection_limit);
  for (int i = 0; i < 60; ++i) journal.knock().heard("call", 400ms);
  const Results results = journal.results();
  EXPECT_EQ(results.verdicts.front().judgement, Judgement::pass);
  EXPECT_EQ(results.overall, Judgement::undecided);
  EXPECT_THAT(results.headline,
              StartsWith("Undecided: the journal stops before the run was over; panel heard"));
}

TEST(Conclusion, AnEndOtherThanCompleteIsUndecided) {
  using Reason = journal::Ended::Reason;
  for (const Reason reason : {Reason::interrupted, Reason::fault, Reason::too_many_voids}) {
    EXPECT_EQ(passing().ended(reason).results().overall, Judgement::undecided);
  }
}

TEST(Conclusion, DamageIsUndecidedButATornTailIsNot) {
  EXPECT_EQ(passing().damaged(61, true).results().overall, Judgement::pass);
  const Results results = passing().damaged(17).results();
  EXPECT_EQ(results.overall, Judgement::undecided);
  EXPECT_THAT(results.headline, HasSubstr("the journal is damaged in 1 place, first at line 17"));
}

// What is lost may be the answers; where a run stops may be a choice.
TEST(Conclusion, NeitherDamageNorAnInterruptionProvesAFailure) {
  for (const bool damage : {true, false}) {
    JournalBuilder journal;
    journal.accept(detection_limit);
    for (int i = 0; i < 20; ++i) journal.knock();
    journal.ended(damage ? journal::Ended::Reason::complete : journal::Ended::Reason::interrupted);
    if (damage) journal.damaged(17);
    const Results results = journal.results();
    EXPECT_EQ(results.verdicts.front().judgement, Judgement::fail);
    EXPECT_EQ(results.overall, Judgement::undecided);
    EXPECT_THAT(results.headline, HasSubstr(damage ? "damaged" : "interrupted"));
  }
}

TEST(Conclusion, ACompleteJournalHoldsThePlannedTrials) {
  JournalBuilder journal;
  journal.accept(detection_limit);
  for (int i = 0; i < 60; ++i) journal.knock().heard("call", 400ms);
  journal.knock().voided(base::VoidReason::late_pulse);  // and never repeated
  const Results results = journal.ended().results();
  EXPECT_EQ(results.overall, Judgement::undecided);
  EXPECT_THAT(results.headline, HasSubstr("60 valid trials of 61 planned"));
}

TEST(Conclusion, TooManyVoidTrialsAreUndecided) {
  JournalBuilder journal;
  journal.accept(detection_limit);
  for (int i = 0; i < 4; ++i) journal.knock().voided(base::VoidReason::late_pulse);
  const Results results = journal.hears(60, 60).results();
  EXPECT_DOUBLE_EQ(results.void_fraction, 4.0 / 64.0);
  EXPECT_EQ(results.overall, Judgement::undecided);
  EXPECT_THAT(results.headline, HasSubstr("6.2 % of all presentations were void (at most 5 %"));
}

TEST(Conclusion, AScenarioWithoutLimitsIsUndecidedAndStillSaysWhatWasMeasured) {
  JournalBuilder journal;
  const Results results = journal.hears(60, 60).results();
  EXPECT_EQ(results.overall, Judgement::undecided);
  EXPECT_TRUE(results.verdicts.empty());
  EXPECT_THAT(results.headline,
              StartsWith("Undecided: the scenario sets no limit; panel heard 60 of 60 knocks"));
}

TEST(Conclusion, ALiftedRunIsNotJudgedByWhatShouldBeHeard) {
  JournalBuilder journal;
  journal.accept(detection_limit).accept("false_response_rate = { at_most = 0.1 }").lifted();
  for (int i = 0; i < 60; ++i) journal.knock();
  const Results results = journal.ended().results();
  ASSERT_EQ(results.verdicts.size(), 1U);
  EXPECT_EQ(results.verdicts.front().figure, "false response rate");
  EXPECT_EQ(results.overall, Judgement::pass);
}

}  // namespace
}  // namespace plexor::analysis
