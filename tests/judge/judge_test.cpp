#include "judge/judge.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "judge/told_judge.hpp"

namespace plexor::judge {
namespace {

using base::Outcome;
using base::VoidReason;
using ::testing::ElementsAre;
using ::testing::IsEmpty;

// A call presented at 1 s: last contact at 1.19 s, window to 2.39 s.

TEST(ACall, IsAHitWhenItsNameComesWithinTheWindow) {
  const Answer answer = ToldJudge().call(1000ms).hear("call", 1500ms).answer();
  EXPECT_EQ(answer.outcome, Outcome::hit);
  EXPECT_EQ(answer.latency, 310ms);
  EXPECT_EQ(answer.heard, "call");
  EXPECT_EQ(answer.duplicates, 0U);
  EXPECT_EQ(answer.gap_alarms, 0U);
}

TEST(ACall, IsAMissWhenNothingComes) {
  const Answer answer = ToldJudge().call(1000ms).answer();
  EXPECT_EQ(answer.outcome, Outcome::miss);
  EXPECT_EQ(answer.latency, std::nullopt);
  EXPECT_EQ(answer.heard, "");
}

TEST(ACall, IsAHitExactlyAtTheLastContact) {
  const Answer answer = ToldJudge().call(1000ms).hear("call", 1190ms).answer();
  EXPECT_EQ(answer.outcome, Outcome::hit);
  EXPECT_EQ(answer.latency, 0ms);
}

TEST(ACall, IsAHitExactlyAtTheEndOfTheWindow) {
  const Answer answer = ToldJudge().call(1000ms).hear("call", 2390ms).answer();
  EXPECT_EQ(answer.outcome, Outcome::hit);
  EXPECT_EQ(answer.latency, 1200ms);
}

TEST(ACall, IsLateJustAfterTheWindowAndThatIsNoAlarm) {
  const Answer answer = ToldJudge().call(1000ms).hear("call", 2390ms + 1ns).answer();
  EXPECT_EQ(answer.outcome, Outcome::late);
  EXPECT_EQ(answer.latency, 1200ms + 1ns);
  EXPECT_EQ(answer.heard, "call");
  EXPECT_EQ(answer.gap_alarms, 0U);
}

TEST(ACall, IsEarlyWhenAnsweredBeforeTheLastContact) {
  const Answer answer = ToldJudge().call(1000ms).hear("call", 1190ms - 1ns).answer();
  EXPECT_EQ(answer.outcome, Outcome::early);
  EXPECT_EQ(answer.latency, -1ns);
  EXPECT_EQ(answer.heard, "call");
}

TEST(ACall, IsEarlyWhateverTheNameAnsweredBeforeTheLastContact) {
  const Answer answer = ToldJudge().call(1000ms).hear("kiln", 1100ms).answer();
  EXPECT_EQ(answer.outcome, Outcome::early);
  EXPECT_EQ(answer.heard, "kiln");
}

TEST(ACall, IsEarlyFromTheFirstContactOn) {
  EXPECT_EQ(ToldJudge().call(1000ms).hear("call", 1000ms).answer().outcome, Outcome::early);
}

TEST(ACall, IsConfusedWhenAnotherNameComes) {
  const Answer answer = ToldJudge().call(1000ms).hear("kiln", 1500ms).answer();
  EXPECT_EQ(answer.outcome, Outcome::confusion);
  EXPECT_EQ(answer.heard, "kiln");
  EXPECT_EQ(answer.latency, 310ms);
}

TEST(ACall, CountsFurtherEventsInTheWindowAsDuplicates) {
  const Answer answer = ToldJudge()
                            .call(1000ms)
                            .hear("call", 1500ms)
                            .hear("call", 1600ms)
                            .hear("kiln", 2390ms)
                            .answer();
  EXPECT_EQ(answer.outcome, Outcome::hit);
  EXPECT_EQ(answer.latency, 310ms);
  EXPECT_EQ(answer.duplicates, 2U);
  EXPECT_EQ(answer.gap_alarms, 0U);
}

TEST(ACall, IsAnsweredByTheEventNearestToTheLastContact) {
  const Answer answer = ToldJudge().call(1000ms).hear("kiln", 1050ms).hear("call", 1250ms).answer();
  EXPECT_EQ(answer.outcome, Outcome::hit);
  EXPECT_EQ(answer.latency, 60ms);
  EXPECT_EQ(answer.duplicates, 1U);
}

TEST(ACall, DoesNotLookForTheRightNameBeyondTheAnsweringEvent) {
  const Answer answer = ToldJudge().call(1000ms).hear("kiln", 1300ms).hear("call", 1500ms).answer();
  EXPECT_EQ(answer.outcome, Outcome::confusion);
  EXPECT_EQ(answer.duplicates, 1U);
}

TEST(ACall, TakesTheFirstEventOfItsNameAfterTheWindowAsLate) {
  const Answer answer = ToldJudge()
                            .call(1000ms)
                            .hear("kiln", 2400ms)
                            .hear("call", 2500ms)
                            .hear("call", 2600ms)
                            .answer();
  EXPECT_EQ(answer.outcome, Outcome::late);
  EXPECT_EQ(answer.latency, 1310ms);
  EXPECT_EQ(answer.gap_alarms, 2U);
  EXPECT_EQ(answer.duplicates, 0U);
}

TEST(ACall, IsAMissWhenOnlyAnotherNameComesAfterTheWindow) {
  const Answer answer = ToldJudge().call(1000ms).hear("kiln", 2500ms).answer();
  EXPECT_EQ(answer.outcome, Outcome::miss);
  EXPECT_EQ(answer.heard, "");
  EXPECT_EQ(answer.gap_alarms, 1U);
}

TEST(ACall, ThatWasAnsweredCountsEventsAfterTheWindowAsGapAlarms) {
  const Answer answer = ToldJudge().call(1000ms).hear("call", 1500ms).hear("call", 2500ms).answer();
  EXPECT_EQ(answer.outcome, Outcome::hit);
  EXPECT_EQ(answer.gap_alarms, 1U);
}

TEST(ACall, IsJudgedByItsMeasuredContacts) {
  const Answer answer =
      ToldJudge().call(1000ms).hear("call", 1195ms).contacts_at(1004ms, 1196ms).answer();
  EXPECT_EQ(answer.outcome, Outcome::early);
  EXPECT_EQ(answer.latency, -1ms);
}

TEST(ACall, CountsAnEventBetweenPlannedAndMeasuredFirstContactAsAGapAlarm) {
  const Answer answer =
      ToldJudge().call(1000ms).hear("call", 1002ms).contacts_at(1004ms, 1196ms).answer();
  EXPECT_EQ(answer.outcome, Outcome::miss);
  EXPECT_EQ(answer.gap_alarms, 1U);
}

TEST(ADistractor, IsCorrectlyRejectedWhenNothingComes) {
  const Answer answer = ToldJudge().distractor(1000ms).answer();
  EXPECT_EQ(answer.outcome, Outcome::correct_rejection);
  EXPECT_EQ(answer.latency, std::nullopt);
}

TEST(ADistractor, IsAFalseResponseWhenAnythingComesWithinTheWindow) {
  for (const Duration when : {1000ms, 1100ms, 1190ms, 2390ms}) {
    const Answer answer = ToldJudge().distractor(1000ms).hear("help", when).answer();
    EXPECT_EQ(answer.outcome, Outcome::false_response);
    EXPECT_EQ(answer.latency, when - 1190ms);
    EXPECT_EQ(answer.heard, "help");
  }
}

TEST(ADistractor, CountsEventsAfterTheWindowAsGapAlarms) {
  const Answer answer = ToldJudge().distractor(1000ms).hear("help", 2390ms + 1ns).answer();
  EXPECT_EQ(answer.outcome, Outcome::correct_rejection);
  EXPECT_EQ(answer.gap_alarms, 1U);
}

// A quiet from 1 s to 11 s; the incident window is 500 ms.

TEST(AQuiet, WithoutEventsHasNoIncidents) {
  const Answer answer = ToldJudge().quiet(1s, 10s).answer();
  EXPECT_THAT(answer.incidents, IsEmpty());
  EXPECT_EQ(answer.outcome, Outcome::correct_rejection);
}

TEST(AQuiet, TakesABurstAsOneIncident) {
  const Answer answer = ToldJudge()
                            .quiet(1s, 10s)
                            .hear("call", 2000ms)
                            .hear("kiln", 2400ms)
                            .hear("call", 2900ms)
                            .hear("call", 5000ms)
                            .answer();
  EXPECT_THAT(answer.incidents, ElementsAre(at(2000ms), at(5000ms)));
  EXPECT_EQ(answer.outcome, Outcome::false_response);
  EXPECT_EQ(answer.heard, "call");
  EXPECT_EQ(answer.duplicates, 0U);
}

TEST(AQuiet, StartsANewIncidentJustAfterTheIncidentWindow) {
  const Answer answer =
      ToldJudge().quiet(1s, 10s).hear("call", 2000ms).hear("call", 2500ms + 1ns).answer();
  EXPECT_THAT(answer.incidents, ElementsAre(at(2000ms), at(2500ms + 1ns)));
}

TEST(AQuiet, ListensFromItsBeginToItsEndAndCountsTheRestAsGapAlarms) {
  const Answer answer = ToldJudge()
                            .quiet(1s, 10s)
                            .hear("call", 1s)
                            .hear("call", 11s)
                            .hear("call", 11s + 1ns)
                            .answer();
  EXPECT_THAT(answer.incidents, ElementsAre(at(1s), at(11s)));
  EXPECT_EQ(answer.gap_alarms, 1U);
}

TEST(ARun, GivesAnEventBeforeTheNextFirstContactToTheTrialBefore) {
  const auto settled = ToldJudge()
                           .call(1s)
                           .close()
                           .call(4s)
                           .hear("call", 4s - 1ns)
                           .hear("call", 4500ms)
                           .close()
                           .settled();
  EXPECT_EQ(settled.at(0).answers.at(0).outcome, Outcome::late);
  EXPECT_EQ(settled.at(1).answers.at(0).outcome, Outcome::hit);
  EXPECT_EQ(settled.at(1).answers.at(0).duplicates, 0U);
}

TEST(ARun, GivesAnEventAtTheNextFirstContactToTheNextTrial) {
  const auto settled = ToldJudge().call(1s).close().call(4s).hear("call", 4s).close().settled();
  EXPECT_EQ(settled.at(0).answers.at(0).outcome, Outcome::miss);
  EXPECT_EQ(settled.at(1).answers.at(0).outcome, Outcome::early);
}

TEST(ARun, TakesLateAnswersBetweenCloseAndTheNextTrial) {
  const auto settled = ToldJudge().call(1s).close().hear("call", 3s).call(4s).close().settled();
  EXPECT_EQ(settled.at(0).answers.at(0).outcome, Outcome::late);
  EXPECT_EQ(settled.at(1).answers.at(0).outcome, Outcome::miss);
}

TEST(ARun, DropsEventsBeforeTheVeryFirstTrial) {
  const auto settled = ToldJudge().hear("call", 1ms).call(1s).hear("call", 999ms).close().settled();
  EXPECT_EQ(settled.at(0).answers.at(0).outcome, Outcome::miss);
  EXPECT_EQ(settled.at(0).answers.at(0).gap_alarms, 0U);
}

TEST(ARun, JudgesEachDeviceByItsOwnEvents) {
  ToldJudge judge({1, 1, 1});
  judge.call(1s).hear("call", 1500ms, 0).hear("kiln", 1500ms, 2).hear("call", 1600ms, 2).close();
  const auto answers = judge.settled().at(0).answers;
  ASSERT_EQ(answers.size(), 3U);
  EXPECT_EQ(answers[0].outcome, Outcome::hit);
  EXPECT_EQ(answers[0].duplicates, 0U);
  EXPECT_EQ(answers[1].outcome, Outcome::miss);
  EXPECT_EQ(answers[2].outcome, Outcome::confusion);
  EXPECT_EQ(answers[2].duplicates, 1U);
}

TEST(ARun, JudgesTheSameEventByTwoListenersAsOneWithTwoLatencies) {
  const auto answer =
      ToldJudge({2}).call(1s).hear("call", 1500ms, 0, 0).hear("call", 1530ms, 0, 1).answer();
  EXPECT_EQ(answer.outcome, Outcome::hit);
  EXPECT_EQ(answer.duplicates, 0U);
  EXPECT_EQ(answer.latency, 310ms);
  ASSERT_EQ(answer.beside.size(), 1U);
  EXPECT_EQ(answer.beside[0].outcome, Outcome::hit);
  EXPECT_EQ(answer.beside[0].latency, 340ms);
}

TEST(ARun, JudgesWhatOnlyOneListenerHeardForEachByItself) {
  const auto answer = ToldJudge({2}).call(1s).hear("call", 1530ms, 0, 1).answer();
  EXPECT_EQ(answer.outcome, Outcome::miss);
  EXPECT_EQ(answer.beside.at(0).outcome, Outcome::hit);
  const auto quiet =
      ToldJudge({2}).quiet(1s, 10s).hear("call", 2s, 0, 0).hear("call", 2s, 0, 1).answer();
  EXPECT_EQ(quiet.incidents.size(), 1U);
  EXPECT_EQ(quiet.beside.at(0).incidents.size(), 1U);
}

TEST(ACall, IsAnsweredByTheFirstToComeInWhateverOrderTheyAreTold) {
  const Answer answer = ToldJudge().call(1000ms).hear("kiln", 1500ms).hear("call", 1300ms).answer();
  EXPECT_EQ(answer.outcome, Outcome::hit);
  EXPECT_EQ(answer.duplicates, 1U);
}

TEST(ARun, DoesNotKnowAListenerThatIsNotThere) {
  EXPECT_THROW(ToldJudge({2, 1}).call(1s).hear("call", 1s, 1, 1), std::out_of_range);
}

TEST(ARun, SettlesAVoidTrialWithItsReasonAndItsAnswers) {
  const auto settled =
      ToldJudge().call(1s).hear("call", 1500ms).close(VoidReason::re_strike).settled();
  EXPECT_EQ(settled.at(0).void_reason, VoidReason::re_strike);
  EXPECT_EQ(settled.at(0).answers.at(0).outcome, Outcome::hit);
}

TEST(ARun, SettlesReferenceTapsWithoutAnswers) {
  const auto settled = ToldJudge()
                           .call(1s)
                           .close()
                           .reference_taps(4s)
                           .hear("call", 4100ms)
                           .hear("kiln", 5s)
                           .close()
                           .settled();
  EXPECT_EQ(settled.at(0).answers.at(0).outcome, Outcome::miss);
  EXPECT_EQ(settled.at(0).answers.at(0).gap_alarms, 0U);
  EXPECT_THAT(settled.at(1).answers, IsEmpty());
}

TEST(ARun, SettlesEachTrialOnceAndInOrderWithItsMeasuredContacts) {
  ToldJudge judge;
  judge.call(1s).contacts_at(1001ms, 1192ms).close();
  judge.quiet(4s, 1s).close();
  judge.distractor(6s).close();
  const auto settled = judge.settled();
  ASSERT_EQ(settled.size(), 3U);
  for (std::uint32_t i = 0; i < 3; ++i) EXPECT_EQ(settled[i].trial.id.number, i);
  EXPECT_EQ(settled[0].trial.first_contact, at(1001ms));
  EXPECT_EQ(settled[0].trial.last_contact, at(1192ms));
}

TEST(TheJudge, SettlesATrialOnlyWhenTheNextOneCloses) {
  Judge judge({1}, 500ms);
  const Presented trial{
      .id = {}, .expects = "call", .first_contact = at(1s), .last_contact = at(1s), .window = 1s};
  judge.present(trial);
  EXPECT_FALSE(judge.close(at(1s), at(1s), {}).has_value());
  judge.present(trial);
  EXPECT_TRUE(judge.close(at(1s), at(1s), {}).has_value());
  EXPECT_TRUE(judge.finish().has_value());
  EXPECT_FALSE(judge.finish().has_value());
}

TEST(TheJudge, DropsATrialThatWasNeverClosed) {
  EXPECT_THAT(ToldJudge().call(1s).hear("call", 1500ms).settled(), IsEmpty());
}

TEST(TheJudge, RefusesToBeToldNonsense) {
  Judge judge({1}, 500ms);
  EXPECT_THROW((void)judge.close(at(0s), at(0s), {}), std::logic_error);
  judge.present({.id = {}, .expects = "call", .first_contact = at(0s), .last_contact = at(0s)});
  EXPECT_THROW(judge.present({}), std::logic_error);
  EXPECT_THROW(judge.hear({1, "call", at(1s), {}, {}}), std::out_of_range);
}

}  // namespace
}  // namespace plexor::judge
