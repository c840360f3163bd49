// What the course of a run adds to its figures: marked disturbances, hours, holes.

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <numeric>

#include "analysis/figures.hpp"
#include "analysis/journal_builder.hpp"

namespace plexor::analysis {
namespace {

using ::testing::HasSubstr;
using ::testing::StartsWith;

constexpr std::int64_t second_ns = 1'000'000'000;
/// 2026-06-11T21:58:20Z; two hours east of Greenwich that is 23:58:20.
constexpr std::int64_t evening_ns = 1'781'215'100 * second_ns;
constexpr std::int32_t summer_s = 7200;

journal::Disturbance kiln_door(base::Instant from, base::Instant to) {
  return {.name = "kiln door", .by = "hand", .from = from, .to = to};
}

/// Three quiet stretches with an alarm in each; the kiln door explains the second.
JournalBuilder three_alarms() {
  JournalBuilder journal;
  journal.quiet(15min).heard("call", 10min);
  journal.quiet(10min).heard("call", 5min);
  journal.quiet(30min).heard("call", 20min);
  return journal;
}
/// The first stretch begins after 1 s, the next ones 3 s after the one before.
constexpr base::Instant second_stretch = base::segment_start + 1s + 15min + 3s;
const journal::Disturbance explains_the_second =
    kiln_door(second_stretch + 4min, second_stretch + 6min);
/// The mark and the incident window after it, which is 2 s unless the scenario says otherwise.
constexpr double left_out_h = (120.0 + 2.0) / 3600.0;

void expect_one_set_apart(const Results& results) {
  const DeviceResult& panel = results.devices.front();
  EXPECT_EQ(panel.false_alarms.incidents, 2U);
  EXPECT_EQ(panel.disturbed_incidents, 1U);
  EXPECT_NEAR(panel.false_alarms.hours, to_hours(55min) - left_out_h, 1e-12);
  ASSERT_EQ(results.disturbances.by_name.size(), 1U);
  EXPECT_EQ(results.disturbances.by_name.front().name, "kiln door");
  EXPECT_EQ(results.disturbances.by_name.front().incidents, 1U);
  EXPECT_NEAR(results.disturbances.quiet_h, left_out_h, 1e-12);
  EXPECT_EQ(results.disturbances.cut_short, 0U);
}

TEST(Marks, SetAlarmsApartWheneverTheyAreTold) {
  expect_one_set_apart(three_alarms().meanwhile(explains_the_second).ended().results());
  expect_one_set_apart(three_alarms().tell(explains_the_second).ended().results());
  JournalBuilder later = three_alarms();
  while (later.now() - explains_the_second.from < 1h - 5s) later.knock().heard("call", 400ms);
  journal::Disturbance told_late = explains_the_second;
  told_late.at = later.now();
  expect_one_set_apart(later.tell(told_late).ended().results());
}

TEST(Marks, WhatLiesMoreThanAnHourBackStandsAsCountedAndIsTold) {
  JournalBuilder journal = three_alarms();
  while (journal.now() - explains_the_second.to < 1h + 1min) journal.knock().heard("call", 400ms);
  journal::Disturbance late = explains_the_second;
  late.at = journal.now();
  const Results results = journal.tell(late).ended().results();
  EXPECT_EQ(results.devices.front().false_alarms.incidents, 3U);
  EXPECT_EQ(results.devices.front().disturbed_incidents, 0U);
  EXPECT_EQ(results.disturbances.cut_short, 1U);
}

TEST(Marks, CountUntilTheIncidentWindowAfterThem) {
  const base::Instant begin = base::segment_start + 1s;
  JournalBuilder journal;
  journal.quiet(1h).heard("call", 10min + 1900ms).heard("call", 20min + 2100ms);
  journal.meanwhile(kiln_door(begin + 9min, begin + 10min));
  journal.meanwhile(kiln_door(begin + 19min, begin + 20min));
  const Results results = journal.ended().results();
  EXPECT_EQ(results.devices.front().disturbed_incidents, 1U);
  EXPECT_EQ(results.devices.front().false_alarms.incidents, 1U);
}

TEST(Marks, OverlapsCountOnce) {
  const base::Instant begin = base::segment_start + 1s;
  JournalBuilder journal;
  journal.quiet(1h).heard("call", 10min);
  journal.meanwhile(journal::Disturbance{"footsteps", "mat", begin + 8min, begin + 12min});
  journal.meanwhile(kiln_door(begin + 5min, begin + 11min));
  const Results results = journal.ended().results();
  EXPECT_NEAR(results.disturbances.quiet_h, (7.0 * 60.0 + 2.0) / 3600.0, 1e-12);
  std::uint64_t incidents = 0;
  for (const DisturbedBy& one : results.disturbances.by_name) incidents += one.incidents;
  EXPECT_EQ(incidents, 1U);
  EXPECT_EQ(results.devices.front().disturbed_incidents, 1U);
}

TEST(Marks, ReachIntoNoOtherSegment) {
  JournalBuilder journal;
  journal.quiet(1h);
  const base::Instant end = journal.now();
  journal.tell(kiln_door(end - 2min, end)).restart();
  journal.quiet(1h).heard("call", 1s);
  const Results results = journal.ended().results();
  EXPECT_EQ(results.devices.front().disturbed_incidents, 0U);
  EXPECT_EQ(results.devices.front().false_alarms.incidents, 1U);
}

TEST(Marks, LimitsAreJudgedByWhatIsUndisturbed) {
  JournalBuilder journal;
  journal.accept("false_alarms_per_hour = { at_most = 3.0, confidence = 0.9 }");
  const base::Instant begin = base::segment_start + 1s;
  journal.quiet(4h);
  for (int i = 0; i < 60; ++i) journal.heard("call", 1h + i * 10s);
  journal.meanwhile(kiln_door(begin + 1h - 1s, begin + 1h + 10min));
  const Results results = journal.ended().results();
  ASSERT_EQ(results.verdicts.size(), 1U);
  EXPECT_EQ(results.verdicts.front().judgement, Judgement::pass);
  EXPECT_EQ(results.verdicts.front().n, 0U);
}

TEST(Marks, LimitsTestedMeanwhileAreJudgedByWhatIsUndisturbed) {
  const auto verdict_on = [](bool is_told) {
    JournalBuilder journal;
    journal.accept("false_alarms_per_hour = { sequential = { good = 0.5, bad = 8 } }");
    const base::Instant begin = base::segment_start + 1s;
    journal.quiet(4h);
    for (int i = 0; i < 60; ++i) journal.heard("call", 10min + i * 10s);
    if (is_told) journal.meanwhile(kiln_door(begin + 10min - 1s, begin + 20min));
    return journal.ended().results().verdicts.front();
  };
  EXPECT_EQ(verdict_on(false).judgement, Judgement::fail);
  EXPECT_EQ(verdict_on(true).judgement, Judgement::pass);
  EXPECT_EQ(verdict_on(true).n, 0U);
}

TEST(Hours, SpreadQuietAndTrialsOverTheRunsOwnTime) {
  JournalBuilder journal;  // 1 s into the run
  journal.quiet(2h + 30min).heard("call", 90min).heard("call", 140min);
  for (int i = 0; i < 4; ++i) journal.knock().heard("call", i == 3 ? 2s : 400ms + i * 10ms);
  const Results results = journal.ended().results();
  ASSERT_TRUE(results.soak);
  const auto& hours = results.soak->hours;
  ASSERT_EQ(hours.size(), 3U);
  EXPECT_NEAR(hours[0].devices[0].false_alarms.hours, 3599.0 / 3600.0, 1e-12);
  EXPECT_NEAR(hours[1].devices[0].false_alarms.hours, 1.0, 1e-12);
  EXPECT_EQ(hours[0].devices[0].false_alarms.incidents, 0U);
  EXPECT_EQ(hours[1].devices[0].false_alarms.incidents, 1U);
  EXPECT_EQ(hours[2].devices[0].false_alarms.incidents, 1U);
  EXPECT_EQ(hours[2].trials, 4U);
  EXPECT_EQ(hours[2].devices[0].detection.x, 3U);
  // Unanswered at +infinity: the median of 400, 410, 420 and none lies between the middle two.
  EXPECT_NEAR(hours[2].devices[0].median_ms.value(), 415.0, 1e-9);
  EXPECT_DOUBLE_EQ(hours[2].to_s, results.duration_s);
}

TEST(Hours, AreTalliedOnlyOfLongRuns) {
  JournalBuilder journal;
  journal.quiet(1h);
  EXPECT_FALSE(journal.ended().results().soak);
}

TEST(LocalHours, FollowTheWallClockAlsoWhereItIsSet) {
  JournalBuilder journal;
  journal.began({.boot_id = "a", .wall_ns = evening_ns, .utc_offset_s = summer_s});
  // From 23:58:21 local time on; at 01:58:20 clocks go back an hour.
  journal.quiet(4h).heard("call", 30min).heard("call", 3h);
  journal.meanwhile(journal::ClockSet{.at = base::segment_start + 2h,
                                      .wall_ns = evening_ns + 7200 * second_ns,
                                      .utc_offset_s = summer_s - 3600});
  const Results results = journal.ended().results();
  const auto& hours = results.devices.front().by_hour_of_day;
  EXPECT_NEAR(hours[23].quiet_hours, 99.0 / 3600.0, 1e-12);
  // Hour 0 twice: the whole first time, and from 00:58:20 on the second.
  EXPECT_NEAR(hours[0].quiet_hours, 1.0 + 100.0 / 3600.0, 1e-12);
  EXPECT_NEAR(hours[1].quiet_hours, 1.0 + 3500.0 / 3600.0, 1e-12);
  EXPECT_EQ(hours[0].incidents, 1U);
  EXPECT_EQ(hours[1].incidents, 1U);
  const double all =
      std::accumulate(hours.begin(), hours.end(), 0.0,
                      [](double sum, const auto& one) { return sum + one.quiet_hours; });
  EXPECT_NEAR(all, 4.0, 1e-12);
}

TEST(LocalHours, AreNotKnownInVirtualTime) {
  JournalBuilder journal;
  journal.quiet(4h).heard("call", 30min);
  const Results results = journal.ended().results();
  for (const HourOfDay& hour : results.devices.front().by_hour_of_day) {
    EXPECT_EQ(hour, HourOfDay{});
  }
}

journal::Segment segment(const char* boot, std::int64_t after_s) {
  return {.boot_id = boot, .wall_ns = evening_ns + after_s * second_ns, .utc_offset_s = summer_s};
}

/// Half an hour of quiet, of which nobody has told how it went on.
JournalBuilder half_an_hour() {
  JournalBuilder journal;
  journal.began(segment("a", 0)).quiet(30min);
  return journal;
}

Hole::Cause cause_of(JournalBuilder journal, const char* boot) {
  return journal.restart(segment(boot, 7200)).quiet(30min).ended().results().holes.at(0).cause;
}

TEST(Holes, HaveTheirCause) {
  using Reason = journal::Ended::Reason;
  EXPECT_EQ(cause_of(half_an_hour(), "b"), Hole::Cause::reboot);
  EXPECT_EQ(cause_of(half_an_hour(), "a"), Hole::Cause::killed);
  EXPECT_EQ(cause_of(half_an_hour().ended(Reason::interrupted), "a"), Hole::Cause::interrupted);
  EXPECT_EQ(cause_of(half_an_hour().ended(Reason::fault), "a"), Hole::Cause::fault);
}

TEST(Holes, AreAsLongAsTheWallClocksSay) {
  const Results results = half_an_hour().restart(segment("b", 7200)).quiet(30min).ended().results();
  ASSERT_EQ(results.holes.size(), 1U);
  // The last that was told of is the end of the quiet, 1801 s after the begin.
  EXPECT_NEAR(results.holes.front().begins_s, 1801.0, 1e-9);
  EXPECT_NEAR(results.holes.front().length_s.value(), 7200.0 - 1801.0, 1e-9);
}

TEST(Findings, StandOnTheRunsOwnTimeInEachSegment) {
  JournalBuilder journal = half_an_hour();  // 1801 s
  journal.restart(segment("b", 7200)).knock();
  journal.quiet(30min).heard("call", 10min);
  const Results results = journal.ended().results();
  ASSERT_EQ(results.findings.size(), 2U);
  EXPECT_NEAR(results.findings[0].run_s, 1801.0 + 1.0, 1e-9);  // a miss 1 s after the begin
  EXPECT_NEAR(results.findings[1].run_s,
              1801.0 + base::to_s(results.findings[1].at.time_since_epoch()), 1e-9);
}

TEST(Holes, AreOfUnknownLengthWithoutAClockOrWhereItWasSetBack) {
  JournalBuilder in_virtual_time;
  in_virtual_time.quiet(30min).restart().quiet(30min);
  const Results no_clock = in_virtual_time.ended().results();
  ASSERT_EQ(no_clock.holes.size(), 1U);
  EXPECT_FALSE(no_clock.holes.front().length_s);
  const Results set_back = half_an_hour().restart(segment("b", 60)).ended().results();
  EXPECT_FALSE(set_back.holes.at(0).length_s);
}

TEST(Watch, CountsPowerCyclesAndTimeUnheard) {
  JournalBuilder journal;
  journal.devices({"panel", "shelf"}).quiet(30min).unheard_for(12s);
  journal.tell(journal::PowerCycle{
      .device = 1, .reason = "12 knocks in a row unanswered", .at = journal.now()});
  // Down until the segment ends, and told twice.
  const base::Instant down = journal.now();
  journal.tell(journal::ListenerState{.device = 1, .up = false, .at = down});
  journal.tell(journal::ListenerState{.device = 1, .up = false, .at = down + 5s});
  journal.tell(journal::LeaveGiven{.at = down + 20s});
  const Results results = journal.ended().results();
  EXPECT_NEAR(results.devices[0].unheard_s, 12.0, 1e-9);
  EXPECT_NEAR(results.devices[1].unheard_s, 20.0, 1e-9);
  EXPECT_EQ(results.devices[0].power_cycles, 0U);
  EXPECT_EQ(results.devices[1].power_cycles, 1U);
  ASSERT_EQ(results.power_cycles.size(), 1U);
  EXPECT_EQ(results.power_cycles.front().device, 1U);
}

TEST(Tapper, IsKnownByItsTransitAndCoil) {
  JournalBuilder journal;
  journal.knock().transit(4ms).coil(30.0);
  journal.knock().transit(6ms).coil(40.0);
  journal.knock().transit(90ms).voided(base::VoidReason::re_strike);
  const TapperFigures tapper = journal.ended().results().tapper;
  EXPECT_NEAR(tapper.transit_ms.value(), 5.0, 1e-9);
  EXPECT_NEAR(tapper.transit_sd_ms.value(), 1.1547005, 1e-6);  // of 4, 4, 6, 6
  EXPECT_NEAR(tapper.coil_c.value(), 35.0, 1e-9);
}

TEST(Tapper, IsKnownByItsReferenceTapsWhereThereAreSome) {
  JournalBuilder journal;
  journal.with_reference_taps().reference_taps().transit(5ms);
  journal.knock().transit(9ms);
  journal.reference_taps().transit(7ms);
  EXPECT_NEAR(journal.ended().results().tapper.transit_ms.value(), 6.0, 1e-9);
}

TEST(LiveRun, IsSoFar) {
  JournalBuilder journal;
  journal.accept("detection_rate = { at_least = 0.5, confidence = 0.95 }").plans(40);
  for (int i = 0; i < 20; ++i) journal.knock().heard("call", 400ms);
  const Results results = journal.results({}, true);
  EXPECT_TRUE(results.is_live);
  EXPECT_EQ(results.overall, Judgement::undecided);
  EXPECT_THAT(results.headline, StartsWith("So far: the run still goes on; panel heard 20 of 20"));
  EXPECT_THAT(results.verdicts.front().reason, HasSubstr("20 of 20 heard"));
}

}  // namespace
}  // namespace plexor::analysis
