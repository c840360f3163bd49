#include "analysis/analyse.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "analysis/journal_builder.hpp"
#include "base/error.hpp"

namespace plexor::analysis {
namespace {

using base::Outcome;
using base::VoidReason;
using ::testing::ElementsAre;
using ::testing::HasSubstr;

std::uint64_t count(const RhythmResult& rhythm, Outcome outcome) {
  return rhythm.outcomes[static_cast<std::size_t>(outcome)];
}
std::uint64_t voids(const Results& results, VoidReason reason) {
  return results.voids[static_cast<std::size_t>(reason)];
}

TEST(Analysis, CountsHitsMissesAndConfusions) {
  JournalBuilder journal;
  journal.knock().heard("call", 400ms);
  journal.knock();
  journal.knock().heard("kiln", 300ms);
  journal.knock().heard("call", -50ms);
  const Results results = journal.ended().results();
  const DeviceResult& panel = results.devices.front();
  EXPECT_EQ(results.trials_valid, 4U);
  EXPECT_EQ(results.trials_planned, 4U);
  EXPECT_EQ(panel.detection.x, 1U);
  EXPECT_EQ(panel.detection.n, 4U);
  EXPECT_EQ(count(panel.rhythms[0], Outcome::miss), 1U);
  EXPECT_EQ(count(panel.rhythms[0], Outcome::early), 1U);
  EXPECT_EQ(panel.confusions.x, 1U);
}

TEST(Analysis, OnlyTheAttemptThatIsNotVoidCounts) {
  JournalBuilder journal;
  journal.knock().voided(VoidReason::late_pulse);
  journal.again().voided(VoidReason::re_strike);
  journal.again().heard("call", 400ms);
  const Results results = journal.ended().results();
  EXPECT_EQ(results.trials_valid, 1U);
  EXPECT_EQ(results.devices.front().detection.n, 1U);
  EXPECT_EQ(voids(results, VoidReason::late_pulse), 1U);
  EXPECT_EQ(voids(results, VoidReason::re_strike), 1U);
  EXPECT_DOUBLE_EQ(results.void_fraction, 2.0 / 3.0);
}

TEST(Analysis, ATrialNeverDoneIsVoidAsInterrupted) {
  JournalBuilder journal;
  journal.knock().heard("call", 400ms);
  journal.knock().never_done();
  const Results results = journal.results();
  EXPECT_EQ(results.trials_valid, 1U);
  EXPECT_EQ(voids(results, VoidReason::interrupted), 1U);
  EXPECT_FALSE(results.ended);
}

TEST(Analysis, AShiftOfTheReferenceTapsVoidsWhatLiesSinceTheLastGoodOnes) {
  JournalBuilder journal;
  journal.with_reference_taps().reference_taps();
  journal.knock().heard("call", 400ms);
  journal.reference_taps();
  journal.knock().heard("call", 400ms);
  journal.knock().voided(VoidReason::late_pulse);
  journal.quiet(60s).heard("call", 20s);
  journal.reference_taps().shift();
  journal.knock().heard("call", 400ms);
  const Results results = journal.reference_taps().ended().results();
  EXPECT_EQ(results.trials_valid, 2U);
  EXPECT_EQ(voids(results, VoidReason::reference_shift), 2U);
  EXPECT_EQ(voids(results, VoidReason::late_pulse), 1U);
  EXPECT_EQ(results.quiet_hours, 0.0);
  EXPECT_EQ(results.devices.front().false_alarms.incidents, 0U);
}

TEST(Analysis, ALossThatIsNoticedLateVoidsWhatWasDoneSince) {
  JournalBuilder journal;
  for (int trial = 0; trial < 2; ++trial) journal.knock().heard("call", 400ms);
  for (int trial = 0; trial < 2; ++trial) journal.knock();
  journal.unheard_for(10s);
  journal.again().heard("call", 400ms);
  const Results results = journal.ended().results();
  EXPECT_EQ(results.trials_valid, 3U);
  EXPECT_EQ(voids(results, VoidReason::listener_down), 2U);
  EXPECT_EQ(count(results.devices.front().rhythms[0], Outcome::miss), 0U);
}

TEST(Analysis, WhatALossHasVoidedIsNotVoidedOnceMoreByReferenceTaps) {
  JournalBuilder journal;
  journal.with_reference_taps().reference_taps();
  for (int trial = 0; trial < 3; ++trial) journal.knock().heard("call", 400ms);
  journal.unheard_for(4s);
  const Results results = journal.reference_taps().shift().ended().results();
  EXPECT_EQ(results.trials_valid, 0U);
  EXPECT_EQ(voids(results, VoidReason::listener_down), 1U);
  EXPECT_EQ(voids(results, VoidReason::reference_shift), 2U);
}

TEST(Analysis, ALossReachesBehindGoodReferenceTapsButNotIntoAnotherSegment) {
  JournalBuilder journal;
  journal.with_reference_taps().knock().heard("call", 400ms);
  journal.restart().knock().heard("call", 400ms);
  journal.reference_taps();
  journal.knock().heard("call", 400ms);
  journal.unheard_for(20s);
  const Results results = journal.reference_taps().ended().results();
  EXPECT_EQ(results.trials_valid, 1U);
  EXPECT_EQ(voids(results, VoidReason::listener_down), 2U);
}

TEST(Analysis, ReferenceTapsThatFailedThemselvesReleaseNothing) {
  JournalBuilder journal;
  journal.with_reference_taps().reference_taps();
  journal.knock().heard("call", 400ms);
  journal.reference_taps().voided(VoidReason::no_contact);
  journal.knock().heard("call", 400ms);
  const Results results = journal.reference_taps().shift().ended().results();
  EXPECT_EQ(results.trials_valid, 0U);
  EXPECT_EQ(voids(results, VoidReason::reference_shift), 2U);
}

TEST(Analysis, TheEndReleasesWhatWasHeld) {
  JournalBuilder journal;
  journal.with_reference_taps().reference_taps();
  journal.knock().heard("call", 400ms);
  EXPECT_EQ(journal.ended().results().trials_valid, 1U);
}

TEST(Analysis, RowsComeInOrderWithTheirFinalVoidReason) {
  JournalBuilder journal;
  journal.with_reference_taps().reference_taps();
  journal.knock().heard("call", 400ms);
  journal.knock().voided(VoidReason::late_pulse);
  journal.reference_taps().shift();
  journal.again();
  journal.knock().never_done();
  std::vector<std::string> rows;
  const auto row = [&](const TrialRow& line) {
    const auto reason = line.settled->void_reason;
    EXPECT_EQ(line.planned->trial.id, line.done->id);
    EXPECT_EQ(line.planned->trial.id, line.settled->trial.id);
    rows.emplace_back(reason ? base::to_text(*reason) : base::to_text(line.settled->trial.kind));
  };
  static_cast<void>(journal.results(row));
  EXPECT_THAT(rows, ElementsAre("reference", "reference-shift", "late-pulse", "reference",
                                "reference", "interrupted"));
}

TEST(Analysis, LatencyCountsFromTheSensedContact) {
  JournalBuilder journal;
  journal.knock().heard("call", 400ms).sensed_late_by(10ms);
  const Results results = journal.ended().results();
  EXPECT_DOUBLE_EQ(*results.devices.front().latency.percentiles[0].ms, 390.0);
}

TEST(Analysis, LatencyCountsFromThePlannedContactWhereNoneIsSensed) {
  JournalBuilder journal;
  journal.contact_not_sensed().knock().heard("call", 400ms).sensed_late_by(10ms);
  const Results results = journal.ended().results();
  EXPECT_DOUBLE_EQ(*results.devices.front().latency.percentiles[0].ms, 400.0);
}

TEST(Analysis, UnansweredAndEarlyTrialsAreInfinitelySlow) {
  JournalBuilder journal;
  for (int i = 0; i < 8; ++i) journal.knock().heard("call", 400ms);
  journal.knock().heard("call", -50ms);
  journal.knock();
  const Latency latency = journal.ended().results().devices.front().latency;
  EXPECT_EQ(latency.n, 10U);
  EXPECT_EQ(latency.heard, 8U);
  EXPECT_DOUBLE_EQ(*latency.percentiles[0].ms, 400.0);
  EXPECT_TRUE(std::isinf(*latency.percentiles[1].ms));
  EXPECT_DOUBLE_EQ(*latency.heard_percentiles[1].ms, 400.0);
  EXPECT_DOUBLE_EQ(latency.ecdf.back().second, 0.8);
}

TEST(Analysis, ALateAnswerIsAMissAndNoAlarm) {
  JournalBuilder journal;
  journal.knock().heard("call", 1500ms);
  journal.knock().heard("call", 400ms).heard("call", 600ms).heard("kiln", 2000ms);
  const DeviceResult panel = journal.ended().results().devices.front();
  EXPECT_EQ(count(panel.rhythms[0], Outcome::late), 1U);
  EXPECT_EQ(panel.gap_alarms, 1U);
  EXPECT_EQ(panel.duplicates, 1U);
  EXPECT_EQ(panel.false_alarms.incidents, 0U);
}

TEST(Analysis, DistractorsGiveFalseResponsesAndSensitivity) {
  JournalBuilder journal;
  for (int i = 0; i < 10; ++i) journal.knock().heard("call", 400ms);
  for (int i = 0; i < 9; ++i) journal.knock(JournalBuilder::mug_down);
  journal.knock(JournalBuilder::mug_down).heard("call", 300ms);
  const DeviceResult panel = journal.ended().results().devices.front();
  EXPECT_EQ(panel.false_responses.x, 1U);
  EXPECT_EQ(panel.false_responses.n, 10U);
  EXPECT_EQ(panel.rhythms[1].correct.x, 9U);
  EXPECT_TRUE(panel.d_prime);
  EXPECT_EQ(panel.detection.n, 10U);
}

TEST(Analysis, AlarmsInQuietAreCountedPerHour) {
  JournalBuilder journal;
  journal.quiet(30min).heard("call", 10min).heard("call", 10min + 500ms).heard("kiln", 20min);
  journal.quiet(90min);
  journal.quiet(60min).voided(VoidReason::listener_down).heard("call", 5min);
  const Results results = journal.ended().results();
  const AlarmRate alarms = results.devices.front().false_alarms;
  EXPECT_EQ(alarms.incidents, 2U);
  EXPECT_DOUBLE_EQ(alarms.hours, 2.0);
  EXPECT_DOUBLE_EQ(*alarms.per_hour, 1.0);
  EXPECT_DOUBLE_EQ(results.quiet_hours, 2.0);
  ASSERT_EQ(results.findings.size(), 2U);
  EXPECT_EQ(results.findings[1].what, "false alarm");
  EXPECT_EQ(results.findings[1].heard, "kiln");
}

TEST(Analysis, EachDeviceHasItsOwnFigures) {
  JournalBuilder journal;
  journal.devices({"panel", "shelf"});
  journal.knock().heard("call", 400ms, 0).heard("call", 500ms, 1);
  journal.knock().heard("kiln", 450ms, 1);
  const Results results = journal.ended().results();
  EXPECT_EQ(results.devices[0].detection.x, 1U);
  EXPECT_EQ(results.devices[1].detection.x, 1U);
  EXPECT_EQ(results.devices[0].confusions.x, 0U);
  EXPECT_EQ(results.devices[1].confusions.x, 1U);
  EXPECT_DOUBLE_EQ(*results.devices[1].rhythms[0].median_ms, 500.0);
}

TEST(Analysis, TheConfusionMatrixShowsWhatWasHeardForWhatWasKnocked) {
  JournalBuilder journal;
  journal.knock().heard("call", 400ms);
  journal.knock().heard("kiln", 400ms);
  journal.knock().heard("call", 1500ms);
  journal.knock(JournalBuilder::mug_down).heard("help", 400ms);
  const DeviceResult panel = journal.ended().results().devices.front();
  EXPECT_THAT(panel.heard_names, ElementsAre("", "call", "kiln", "help"));
  EXPECT_THAT(panel.confusion, ElementsAre(ElementsAre(1, 1, 1, 0), ElementsAre(0, 0, 0, 1)));
}

TEST(Analysis, ManyUnexpectedNamesShareAColumn) {
  JournalBuilder journal;
  for (int i = 0; i < 30; ++i) journal.knock().heard("noise-" + std::to_string(i), 400ms);
  const DeviceResult panel = journal.ended().results().devices.front();
  ASSERT_EQ(panel.heard_names.size(), 23U);
  EXPECT_EQ(panel.heard_names.back(), "other");
  EXPECT_EQ(panel.confusion[0].back(), 10U);
}

TEST(Analysis, StrengthIsSaidOnlyOfCalibratedRigs) {
  JournalBuilder journal;
  journal.knock().strike(0.42).heard("call", 400ms);
  EXPECT_DOUBLE_EQ(journal.results().devices.front().strength.front().from_m_s, 0.40);
  EXPECT_TRUE(journal.uncalibrated().results().devices.front().strength.empty());
}

TEST(Analysis, AFindingSaysWhatWasCommandedMeasuredAndHeard) {
  JournalBuilder journal;
  journal.knock().heard("call", 400ms);
  journal.knock().strike(0.5).heard("kiln", 300ms).sensed_late_by(10ms);
  const Results results = journal.ended().results();
  ASSERT_EQ(results.findings_total, 1U);
  const Finding& finding = results.findings.front();
  EXPECT_EQ(finding.what, "confusion");
  EXPECT_EQ(finding.rhythm, "call");
  EXPECT_EQ(finding.trial.number, 1U);
  EXPECT_THAT(finding.commanded_ms, ElementsAre(190.0));
  EXPECT_THAT(finding.measured_ms, ElementsAre(190.0));
  EXPECT_THAT(finding.strike_m_s, ElementsAre(0.5, 0.5));
  EXPECT_EQ(finding.heard, "kiln");
  EXPECT_DOUBLE_EQ(*finding.latency_ms, 290.0);
}

TEST(Analysis, FindingsAreLimitedAndCounted) {
  JournalBuilder journal;
  journal.hears(0, max_findings + 7);
  const Results results = journal.results();
  EXPECT_EQ(results.findings.size(), max_findings);
  EXPECT_EQ(results.findings_total, max_findings + 7);
}

TEST(Analysis, ANewSegmentEndsTheTrialUnderWayAndGoesOn) {
  JournalBuilder journal;
  journal.knock().heard("call", 400ms);
  journal.knock().never_done();
  journal.restart().again().heard("call", 400ms);
  const Results results = journal.ended().results();
  EXPECT_EQ(results.trials_valid, 2U);
  EXPECT_EQ(results.devices.front().detection.x, 2U);
  EXPECT_EQ(voids(results, VoidReason::interrupted), 1U);
  EXPECT_GT(results.duration_s, 6.0);
  EXPECT_TRUE(results.ended);
}

TEST(Analysis, AnEndFollowedByAnotherSegmentIsNoEnd) {
  JournalBuilder journal;
  journal.knock().ended(journal::Ended::Reason::interrupted).restart().knock();
  EXPECT_FALSE(journal.results().ended);
}

TEST(Analysis, TheTimelineHoldsEachAnswer) {
  JournalBuilder journal;
  journal.devices({"panel", "shelf"});
  for (int i = 0; i < 10; ++i) journal.knock().heard("call", 400ms, 0);
  TimelineBin sum;
  for (const TimelineBin& bin : journal.ended().results().timeline) {
    sum.trials += bin.trials;
    sum.wrong += bin.wrong;
  }
  EXPECT_EQ(sum.trials, 20U);
  EXPECT_EQ(sum.wrong, 10U);
}

TEST(Analysis, InALiftedRunEveryAnswerIsFalse) {
  JournalBuilder journal;
  journal.lifted().knock().heard("call", 400ms);
  journal.knock();
  const DeviceResult panel = journal.ended().results().devices.front();
  EXPECT_EQ(panel.detection.n, 0U);
  EXPECT_EQ(panel.false_responses.x, 1U);
  EXPECT_EQ(panel.false_responses.n, 2U);
}

TEST(Analysis, RefusesARecordThatItsHeaderContradicts) {
  JournalBuilder journal;
  journal.knock().heard("call", 400ms, 3);
  EXPECT_THROW(static_cast<void>(journal.results()), base::InputError);
  Analysis headless;
  EXPECT_THROW(headless.take({.sequence = 0, .record = journal::Host{}}), base::InputError);
}

TEST(Analysis, AnEventThatIsToldALittleLaterThanItsNextIsJudgedInItsPlace) {
  JournalBuilder journal;
  journal.knock().heard("kiln", 700ms).heard("call", 400ms);
  const Results results = journal.ended().results();
  EXPECT_EQ(results.trials_valid, 1U);
  EXPECT_EQ(results.devices.front().detection.x, 1U);
  EXPECT_EQ(results.devices.front().duplicates, 1U);
}

TEST(Analysis, AnEventLongBeforeTheOneBeforeItMeansALostSegmentRecord) {
  JournalBuilder journal;
  journal.knock().heard("call", 400ms);
  journal.knock().heard("call", 400ms).heard("call", -700ms);
  const Results results = journal.ended().results();
  EXPECT_EQ(results.trials_valid, 1U);
  EXPECT_EQ(voids(results, VoidReason::interrupted), 1U);
}

TEST(Analysis, ALostSegmentRecordDoesNotMixItsTimes) {
  JournalBuilder journal;  // as if the restart's own line were damaged
  journal.knock().heard("call", 400ms);
  journal.knock().heard("call", 400ms).restart_unrecorded();
  journal.knock().heard("call", 400ms);
  const Results results = journal.damaged(9).results();
  EXPECT_EQ(results.devices.front().detection.x, 3U);
  EXPECT_EQ(results.overall, Judgement::undecided);
}

}  // namespace
}  // namespace plexor::analysis
