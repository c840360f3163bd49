#include "analysis/comparing/compare.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>
#include <limits>

#include "base/error.hpp"

namespace plexor::analysis {
namespace {

using ::testing::Contains;
using ::testing::Field;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

const std::string scenario_text =
    "[scenario]\nname = \"release check\"\npurpose = \"regression\"\nseed = 1\n"
    "[rhythm.call]\ncontacts_ms = [0, 190]\n[rhythm.kiln]\ncontacts_ms = [0, 190, 380]\n"
    "[[block]]\nrhythm = \"call\"\ntrials = 400\nstrike_m_s = 0.9\nwindow_ms = 900\ngap_ms = 1500\n"
    "[[block]]\nrhythm = \"kiln\"\ntrials = 400\nstrike_m_s = 0.9\nwindow_ms = 900\ngap_ms = 1500\n"
    "[[block]]\nquiet_s = 3600\n";

/// Whether trial `number` of block `block` is heard.
using Hears = std::function<bool(std::uint32_t block, std::uint32_t number)>;
bool always(std::uint32_t, std::uint32_t) { return true; }
Hears all_but_every(std::uint32_t nth) {
  return [nth](std::uint32_t, std::uint32_t number) { return number % nth != 0; };
}

RunEvidence run_that(const Hears& hears, double latency_ms = 450.0, const std::string& more = "") {
  RunEvidence run;
  run.place = "runs/one";
  run.scenario = scenario::parse_scenario(scenario_text + more, "s.toml");
  run.header.seed = 1;
  run.header.rig.surface = "oak counter";
  run.quiet_hours = 1.0;
  run.is_complete = true;
  run.devices.push_back({.name = "panel", .version = "release 1"});
  for (std::uint32_t block = 0; block < 2; ++block) {
    for (std::uint32_t number = 0; number < 400; ++number) {
      const bool heard = hears(block, number);
      const double spread = static_cast<double>((number * 37 + block * 11) % 41);
      run.devices.front().trials.push_back(
          {block, number, block, heard,
           heard ? latency_ms + spread : std::numeric_limits<double>::infinity()});
    }
  }
  return run;
}

Comparison compared(const RunEvidence& base, const RunEvidence& candidate,
                    std::uint32_t steps = 1) {
  return compare(std::span(&base, 1), std::span(&candidate, 1), steps);
}

const ComparedFigure& figure(const Comparison& comparison, const std::string& name,
                             const std::string& rhythm = "") {
  for (const ComparedFigure& one : comparison.figures) {
    if (one.figure == name && one.rhythm == rhythm) return one;
  }
  throw std::out_of_range(name);
}

TEST(Compare, AnUnchangedReleaseIsNoWorse) {
  const Comparison found = compared(run_that(all_but_every(50)), run_that(all_but_every(50)));
  EXPECT_TRUE(found.paired);
  EXPECT_EQ(found.overall, Relation::no_worse);
  EXPECT_EQ(figure(found, "detection rate").change, 0.0);
  EXPECT_EQ(figure(found, "latency").relation, Relation::no_worse);
}

TEST(Compare, ALostShareIsWorseAndNamed) {
  const Comparison found = compared(run_that(always), run_that(all_but_every(10)));
  EXPECT_EQ(found.overall, Relation::worse);
  const ComparedFigure& rate = figure(found, "detection rate");
  EXPECT_EQ(rate.relation, Relation::worse);
  EXPECT_NEAR(*rate.change, -0.1, 1e-12);
  EXPECT_LT(rate.interval.lower, -0.1);
  EXPECT_GT(rate.interval.upper, -0.1);
  EXPECT_THAT(found.headline, HasSubstr("10.0 points less"));
}

TEST(Compare, AGainIsBetter) {
  EXPECT_EQ(compared(run_that(all_but_every(10)), run_that(always)).overall, Relation::better);
}

TEST(Compare, ARhythmThatIsLostSpeaksAgainstTheWhole) {
  const auto loses_some_kiln = [](std::uint32_t block, std::uint32_t number) {
    return block == 0 || number % 25 != 0;
  };
  const Comparison found = compared(run_that(always), run_that(loses_some_kiln));
  EXPECT_EQ(figure(found, "detection rate", "kiln").relation, Relation::worse);
  EXPECT_NE(figure(found, "detection rate", "call").relation, Relation::worse);
  EXPECT_EQ(found.overall, Relation::worse);
}

TEST(Compare, BeingLaterCountsBeyondTheMargin) {
  EXPECT_EQ(compared(run_that(always), run_that(always, 480.0)).overall, Relation::no_worse);
  const Comparison found = compared(run_that(always), run_that(always, 520.0));
  EXPECT_EQ(figure(found, "latency").relation, Relation::worse);
  EXPECT_NEAR(*figure(found, "latency").change, 70.0, 2.0);
  EXPECT_EQ(
      compared(run_that(always), run_that(always, 520.0, "[compare]\nlatency_margin_ms = 90\n"))
          .margins.latency_ms,
      50.0)
      << "the base's scenario says what was agreed";
}

TEST(Compare, WhatDoesNotCountInBothIsNoPair) {
  RunEvidence candidate = run_that(always);
  std::erase_if(candidate.devices.front().trials,
                [](const AnsweredTrial& trial) { return trial.number % 2 == 0; });
  const Comparison found = compared(run_that(all_but_every(2)), candidate);
  EXPECT_EQ(figure(found, "detection rate").base_n, 400U);
  EXPECT_EQ(figure(found, "detection rate").change, 0.0);
}

TEST(Compare, OtherTapsAreNotPairedAndSaidSo) {
  RunEvidence candidate = run_that(all_but_every(10));
  candidate.header.seed = 2;
  const Comparison found = compared(run_that(always), candidate);
  EXPECT_FALSE(found.paired);
  EXPECT_THAT(found.differences, Contains(Field(&SettingDifference::what, "seed")));
  EXPECT_EQ(figure(found, "detection rate").relation, Relation::worse);
  EXPECT_THAT(figure(found, "detection rate").test, HasSubstr("Boschloo"));
}

TEST(Compare, AnotherSettingIsRefusedByName) {
  const auto complaint = [](const std::function<void(RunEvidence&)>& change) -> std::string {
    RunEvidence candidate = run_that(always);
    change(candidate);
    try {
      (void)compared(run_that(always), candidate);
    } catch (const base::InputError& error) {
      return error.what();
    }
    return "no error";
  };
  EXPECT_EQ(complaint([](RunEvidence&) {}), "no error");
  EXPECT_THAT(complaint([](RunEvidence& run) { run.header.rig.surface = "granite slab"; }),
              HasSubstr("surface: base oak counter, candidate granite slab"));
  EXPECT_THAT(complaint([](RunEvidence& run) { run.header.rig.spot = "edge"; }), HasSubstr("spot"));
  EXPECT_THAT(complaint([](RunEvidence& run) { run.header.rig.mounting = "tape"; }),
              HasSubstr("mounting"));
  EXPECT_THAT(complaint([](RunEvidence& run) { run.header.lifted = true; }), HasSubstr("lifted"));
  EXPECT_THAT(complaint([](RunEvidence& run) { run.header.rig.simulated = true; }),
              HasSubstr("simulated"));
  EXPECT_THAT(complaint([](RunEvidence& run) { run.devices.front().name = "door"; }),
              HasSubstr("devices"));
  EXPECT_THAT(complaint([](RunEvidence& run) { run.scenario.blocks[0].trials = 399; }),
              HasSubstr("scenario"));
  EXPECT_EQ(complaint([](RunEvidence& run) { run.header.rig.calibration_date = "2026-01-01"; }),
            "no error");
}

TEST(Compare, ARunThatDidNotComeToItsEndDecidesNothing) {
  RunEvidence candidate = run_that(all_but_every(10));
  candidate.is_complete = false;
  EXPECT_EQ(compared(run_that(always), candidate).overall, Relation::undecided);
  candidate.is_complete = true;
  candidate.void_fraction = 0.2;
  EXPECT_EQ(compared(run_that(always), candidate).overall, Relation::undecided);
}

TEST(Compare, FalseAlarmsDecideWhereAMarginIsAgreed) {
  const auto alarms = [](std::uint64_t before, std::uint64_t now, const std::string& margin) {
    RunEvidence base = run_that(always, 450.0, margin);
    RunEvidence candidate = run_that(always);
    base.devices.front().incidents = before;
    candidate.devices.front().incidents = now;
    return compared(base, candidate);
  };
  EXPECT_EQ(alarms(1, 1, "").overall, Relation::no_worse);
  EXPECT_EQ(alarms(1, 1, "[compare]\nalarm_ratio = 2\n").overall, Relation::undecided);
  EXPECT_EQ(alarms(100, 100, "[compare]\nalarm_ratio = 2\n").overall, Relation::no_worse);
  EXPECT_EQ(alarms(2, 40, "").overall, Relation::worse);
}

TEST(Compare, AStepOfASearchErrsThatMuchLess) {
  const auto loses_a_few = [](std::uint32_t block, std::uint32_t number) {
    return block == 0 || number % 50 != 0;
  };
  const Comparison once = compared(run_that(always), run_that(loses_a_few));
  const Comparison step = compared(run_that(always), run_that(loses_a_few), 20);
  EXPECT_NEAR(step.margins.confidence, 0.9975, 1e-12);
  EXPECT_LT(figure(step, "detection rate").interval.lower,
            figure(once, "detection rate").interval.lower);
}

TEST(Compare, GroupsArePairedRunByRun) {
  const std::vector<RunEvidence> base{run_that(always), run_that(always)};
  const std::vector<RunEvidence> candidate{run_that(all_but_every(10)), run_that(always)};
  const Comparison found = compare(base, candidate);
  EXPECT_TRUE(found.paired);
  EXPECT_EQ(figure(found, "detection rate").base_n, 1600U);
  EXPECT_NEAR(*figure(found, "detection rate").change, -0.05, 1e-12);
  EXPECT_FALSE(compare(base, std::span(candidate).first(1)).paired);
}

TEST(Compare, AGroupIsOfOneRelease) {
  std::vector<RunEvidence> mixed{run_that(always), run_that(always)};
  mixed[1].devices.front().version = "release 2";
  EXPECT_THROW((void)compare(mixed, mixed), base::InputError);
  EXPECT_THROW((void)compare(std::span(mixed).first(1), mixed), base::InputError);
  EXPECT_EQ(compared(mixed[0], mixed[1]).candidate_version, "release 2");
}

TEST(Compare, RefusesRunsThatMayStopEarly) {
  const std::string sequential =
      "[accept]\ndetection_rate = { sequential = { good = 0.98, bad = 0.95 } }\n";
  const RunEvidence run = run_that(always, 450.0, sequential);
  for (const auto& [base, candidate] :
       {std::pair{run, run_that(always)}, {run_that(always), run}}) {
    EXPECT_THROW((void)compared(base, candidate), base::InputError);
  }
}

TEST(Compare, ShowsNoLatencyWhereNobodyAnswered) {
  const auto never = [](std::uint32_t, std::uint32_t) { return false; };
  const Comparison found = compared(run_that(never), run_that(never));
  EXPECT_FALSE(figure(found, "latency").change);
  EXPECT_EQ(figure(found, "latency").relation, Relation::undecided);
  EXPECT_FALSE(found.latencies[0].quantiles[0].change.estimate);
}

TEST(Compare, DoesNotTakeTheSeedsOfAGroupForADifference) {
  std::vector<RunEvidence> group{run_that(always), run_that(always)};
  group[1].header.seed = 2;
  EXPECT_THAT(compare(group, group).differences, IsEmpty());
}

TEST(Compare, ShowsTheQuantilesOfBoth) {
  const Comparison found = compared(run_that(always), run_that(all_but_every(4), 460.0));
  ASSERT_THAT(found.latencies, SizeIs(1));
  const ComparedLatencies& latencies = found.latencies[0];
  EXPECT_EQ(latencies.device, "panel");
  EXPECT_EQ(latencies.base_ecdf.back().second, 1.0);
  EXPECT_EQ(latencies.candidate_ecdf.back().second, 0.75);
  ASSERT_THAT(latencies.quantiles, SizeIs(4));
  const ComparedQuantile& median = latencies.quantiles[0];
  EXPECT_EQ(median.p, 0.5);
  EXPECT_EQ(median.base, 470.0);
  EXPECT_LT(median.change.interval.lower, *median.candidate - *median.base);
  EXPECT_GT(median.change.interval.upper, *median.candidate - *median.base);
  EXPECT_EQ(latencies.quantiles[2].candidate, std::numeric_limits<double>::infinity());
}

TEST(Compare, SaysAboutHowManyMoreWouldDo) {
  RunEvidence base = run_that(always);
  RunEvidence candidate = run_that(all_but_every(80));
  for (RunEvidence* run : {&base, &candidate}) {
    std::erase_if(run->devices.front().trials,
                  [](const AnsweredTrial& trial) { return trial.number >= 60; });
  }
  const Comparison found = compared(base, candidate);
  EXPECT_EQ(found.overall, Relation::undecided);
  EXPECT_THAT(figure(found, "detection rate").reason, HasSubstr("more trials of each"));
}

}  // namespace
}  // namespace plexor::analysis
