#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>

#include "analysis/history/trend.hpp"
#include "analysis/history/trend_words.hpp"
#include "analysis/made_history.hpp"

namespace plexor::analysis {
namespace {

using testing::AllOf;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;
using testing::Not;
using testing::SizeIs;
using testing::StartsWith;

/// A history in which nothing stands out, by its draws too.
constexpr std::uint64_t plain_seed = 4;

std::vector<RunFigures> plain_history() { return made_history(steady_nights(14, plain_seed)); }

const TrendSeries& series_of(const Trend& trend, const std::string& unit, Figure figure) {
  return *std::ranges::find_if(trend.series, [&](const TrendSeries& one) {
    return one.unit == unit && one.figure == figure;
  });
}

TEST(TrendFindings, ACleanHistoryNamesNone) {
  const Trend trend = trend_of(plain_history());
  EXPECT_THAT(trend.findings, IsEmpty());
  EXPECT_THAT(trend.headline, StartsWith("Nothing stands out in 14 nights (2026-06-01 to "));
  EXPECT_TRUE(trend.simulated);
  EXPECT_GT(trend.tests.size(), 40U);
}

TEST(TrendFindings, EachEventOfAHistoryIsNamedWithItsNightAndCause) {
  const Trend trend = trend_of(eventful_history(plain_seed));
  ASSERT_THAT(trend.findings, SizeIs(3)) << trend.headline;
  EXPECT_EQ(trend.findings[0].kind, FindingKind::hole);
  EXPECT_EQ(trend.findings[0].cause, Cause::power_or_restart);
  EXPECT_THAT(trend.findings[0].nights, ElementsAre("2026-06-05"));
  EXPECT_THAT(trend.findings[0].sentence,
              AllOf(HasSubstr("the computer began anew"), HasSubstr("2 h 40 min"),
                    HasSubstr("3 h 12 min into the run"), HasSubstr("left out")));
  EXPECT_EQ(trend.findings[1].kind, FindingKind::broken_device);
  EXPECT_THAT(trend.findings[1].nights, ElementsAre("2026-06-08"));
  EXPECT_EQ(trend.findings[1].unit, "glass door");
  EXPECT_THAT(trend.findings[1].sentence, AllOf(HasSubstr("power-cycled 3 times"),
                                                HasSubstr("1 h 20 min"), HasSubstr("of 320")));
  EXPECT_EQ(trend.findings[2].kind, FindingKind::drift);
  EXPECT_EQ(trend.findings[2].cause, Cause::release);
  EXPECT_THAT(trend.findings[2].nights, ElementsAre("2026-06-09"));
  EXPECT_THAT(trend.findings[2].sentence,
              AllOf(HasSubstr("Since release 1.5 (night of 2026-06-09) panel's detection falls by"),
                    HasSubstr("points a night"), HasSubstr("Mann-Kendall"),
                    HasSubstr("The tapper did not move with it")));
  EXPECT_THAT(trend.headline, HasSubstr("a power cut or restart on 2026-06-05"));
}

TEST(TrendWords, ASlopeOfSharesIsInPoints) {
  EXPECT_EQ(history::slope_text(Figure::detection, -0.01), "1 point a night");
  EXPECT_EQ(history::slope_text(Figure::detection, 0.012), "1.2 points a night");
  EXPECT_EQ(history::slope_text(Figure::median, -0.4), "0.4 ms a night");
}

TEST(TrendFindings, KnownBrokenNightsAreInNoTest) {
  const Trend trend = trend_of(eventful_history(plain_seed));
  const TrendSeries& panel = series_of(trend, "panel", Figure::detection);
  const TrendSeries& door = series_of(trend, "glass door", Figure::detection);
  EXPECT_THAT(panel.points[4].left_out, HasSubstr("power cut"));
  EXPECT_THAT(panel.points[7].left_out, IsEmpty());
  EXPECT_THAT(door.points[7].left_out, HasSubstr("broken"));
  EXPECT_THAT(door.points[7].marks, IsEmpty());
  EXPECT_EQ(std::ranges::count(door.baseline_points, 4U), 0);
  EXPECT_THAT(panel.baseline, HasSubstr("release 1.4"));
  EXPECT_EQ(panel.drifts, std::vector<std::size_t>{8});
}

TEST(TrendFindings, ADeafNightThatNoJournalExplainsIsNamed) {
  std::vector<MadeNight> nights = steady_nights(14, plain_seed);
  nights[5].units[0].detects = 0.4;
  const Trend trend = trend_of(made_history(nights));
  ASSERT_THAT(trend.findings, SizeIs(1)) << trend.headline;
  EXPECT_EQ(trend.findings[0].kind, FindingKind::odd_night);
  EXPECT_THAT(trend.findings[0].nights, ElementsAre("2026-06-06"));
  EXPECT_THAT(trend.findings[0].sentence, HasSubstr("as good as broken"));
  EXPECT_LE(trend.findings[0].p.value(), 0.05);
}

TEST(TrendFindings, AStepIsPutDownToItsRelease) {
  std::vector<MadeNight> nights = steady_nights(14, plain_seed);
  for (std::size_t i = 8; i < nights.size(); ++i) {
    nights[i].units[0].release = "1.5";
    nights[i].units[0].detects = 0.93;
  }
  const Trend trend = trend_of(made_history(nights));
  ASSERT_THAT(trend.findings, SizeIs(1)) << trend.headline;
  EXPECT_EQ(trend.findings[0].cause, Cause::release);
  EXPECT_THAT(trend.findings[0].sentence,
              StartsWith("With release 1.5 (night of 2026-06-09) panel's detection falls: "));
}

TEST(TrendFindings, WhereTheTapperMovedAlongItIsBlamed) {
  std::vector<MadeNight> nights = steady_nights(14, plain_seed);
  for (std::size_t i = 6; i < nights.size(); ++i) {
    nights[i].transit_ms = 6.9;
    nights[i].units[0].detects = 0.80;
  }
  const Trend trend = trend_of(made_history(nights));
  ASSERT_THAT(trend.findings, SizeIs(2)) << trend.headline;
  for (const TrendFinding& finding : trend.findings) {
    EXPECT_EQ(finding.cause, Cause::tapper);
    EXPECT_THAT(finding.nights, ElementsAre("2026-06-07"));
  }
  const bool device_first = trend.findings[0].unit == "panel";
  EXPECT_THAT(trend.findings[device_first ? 0 : 1].sentence, HasSubstr("The tapper moved with it"));
}

TEST(TrendFindings, ANewMountingIsNamedAsWhatChanged) {
  std::vector<MadeNight> nights = steady_nights(14, plain_seed);
  for (std::size_t i = 6; i < nights.size(); ++i) nights[i].units[0].detects = 0.80;
  std::vector<RunFigures> runs = made_history(nights);
  for (std::size_t i = 6; i < runs.size(); ++i) runs[i].mounting = "tape";
  const Trend trend = trend_of(runs);
  ASSERT_THAT(trend.findings, SizeIs(1)) << trend.headline;
  EXPECT_EQ(trend.findings[0].cause, Cause::setting);
  EXPECT_THAT(trend.findings[0].sentence, HasSubstr("the mounting is tape instead of putty"));
}

TEST(TrendFindings, AlarmsOfOneHourAreNamed) {
  std::vector<RunFigures> runs = plain_history();
  for (RunFigures& run : runs) {
    run.devices[0].by_hour[5].incidents += 3;
    run.devices[0].incidents += 3;
  }
  const Trend trend = trend_of(runs);
  ASSERT_THAT(trend.findings, SizeIs(1)) << trend.headline;
  EXPECT_THAT(trend.findings[0].sentence, HasSubstr("gather between 05:00 and 06:00"));
}

TEST(TrendFindings, NightsWithoutARunAreNamed) {
  std::vector<RunFigures> runs = plain_history();
  runs.erase(runs.begin() + 6, runs.begin() + 8);
  const Trend trend = trend_of(runs);
  ASSERT_THAT(trend.findings, SizeIs(1)) << trend.headline;
  EXPECT_EQ(trend.findings[0].kind, FindingKind::missing);
  EXPECT_THAT(trend.findings[0].nights, ElementsAre("2026-06-07", "2026-06-08"));
  EXPECT_EQ(trend.missing_nights(), 2U);
  EXPECT_EQ(trend.runs(), 12U);
  EXPECT_THAT(trend_of(runs, {.tells_missing = false}).findings, IsEmpty());
}

TEST(TrendFindings, NightsAskedForAreMissedAtTheEndsToo) {
  const Trend trend =
      trend_of(plain_history(), {.first_night = "2026-06-01", .last_night = "2026-06-15"});
  ASSERT_THAT(trend.findings, SizeIs(1));
  EXPECT_THAT(trend.findings[0].nights, ElementsAre("2026-06-15"));
}

TEST(TrendFindings, DaysOffAreNotMissing) {
  std::vector<RunFigures> runs;
  for (const RunFigures& run : plain_history()) {  // 2026-06-06 and 07, 13 and 14 are weekends
    const std::string day = run.night.substr(8);
    if (day != "06" && day != "07" && day != "13" && day != "14") runs.push_back(run);
  }
  runs.push_back(made_run({.seed = plain_seed, .number = 14}));
  EXPECT_THAT(trend_of(runs).findings, IsEmpty());
}

TEST(TrendFindings, BadEndsAreNamedWithWhatTheRunSaid) {
  std::vector<RunFigures> runs = plain_history();
  runs[2].ended = "fault";
  runs[2].detail = "coil too hot";
  runs[3].ended = "too-many-voids";
  runs[4].ended = "";
  runs[5].ended = "interrupted";
  const Trend trend = trend_of(runs);
  ASSERT_THAT(trend.findings, SizeIs(4)) << trend.headline;
  EXPECT_THAT(trend.findings[0].sentence,
              HasSubstr("2026-06-03 ended with a fault of the rig: coil too hot."));
  EXPECT_THAT(trend.findings[1].sentence, HasSubstr("undecided"));
  EXPECT_THAT(trend.findings[2].sentence, HasSubstr("has no end"));
  EXPECT_EQ(trend.findings[3].cause, Cause::stopped);
  EXPECT_THAT(trend.nights[2].findings, ElementsAre(0U));
}

TEST(TrendFindings, AHoleWithoutAClockSaysSo) {
  std::vector<RunFigures> runs = plain_history();
  runs[3].holes.push_back({.cause = Hole::Cause::killed, .begins_s = 60.0, .length_s = {}});
  const Trend trend = trend_of(runs);
  ASSERT_THAT(trend.findings, SizeIs(1));
  EXPECT_THAT(trend.findings[0].sentence, HasSubstr("for how long nobody watched is not known"));
}

TEST(TrendFindings, FewNightsAreSaidToBeTooFew) {
  const Trend trend = trend_of(made_history(steady_nights(3, plain_seed)));
  EXPECT_TRUE(std::ranges::all_of(trend.tests, &TrendTest::of_hours));
  EXPECT_THAT(trend.headline, HasSubstr("too few nights to test"));
  EXPECT_THAT(trend.remarks, SizeIs(1));
  EXPECT_THAT(trend_of({}).headline, HasSubstr("No runs"));
}

TEST(TrendFindings, UnansweredLatenciesAreNotTested) {
  std::vector<RunFigures> runs = plain_history();
  runs[3].devices[0].p95_ms = std::numeric_limits<double>::infinity();
  const Trend trend = trend_of(runs);
  EXPECT_THAT(trend.findings, IsEmpty());
  EXPECT_THAT(series_of(trend, "panel", Figure::p95).points[3].left_out, Not(IsEmpty()));
}

TEST(TrendFindings, LiftedAndUndatedRunsAreLeftOutWithARemark) {
  std::vector<RunFigures> runs = plain_history();
  runs[13].lifted = true;
  runs[12].night.clear();
  const Trend trend = trend_of(runs);
  EXPECT_THAT(trend.findings, IsEmpty());
  EXPECT_EQ(trend.runs(), 12U);
  EXPECT_THAT(trend.remarks, SizeIs(2));
}

TEST(TrendFindings, SeveralRunsOfANightAreToldApart) {
  std::vector<RunFigures> runs = plain_history();
  runs.insert(runs.begin() + 4, made_run({.seed = 99, .number = 3}));
  const Trend trend = trend_of(runs);
  EXPECT_EQ(trend.nights[3].name, "2026-06-04");
  EXPECT_EQ(trend.nights[4].name, "2026-06-04 (2)");
  EXPECT_TRUE(series_of(trend, "panel", Figure::detection).looks[0].sen.has_value());
}

}  // namespace
}  // namespace plexor::analysis
