#include "analysis/history/figures_of.hpp"

#include <gtest/gtest.h>

#include "analysis/journal_builder.hpp"

namespace plexor::analysis {
namespace {

constexpr std::int64_t ns_a_second = 1'000'000'000;
/// 2026-06-11T21:58:20Z.
constexpr std::int64_t begin_of_watch_s = 1'781'215'100;

RunFigures night_begun_at(std::int64_t unix_s, std::int32_t utc_offset_s) {
  JournalBuilder journal;
  journal.began({.boot_id = "a", .wall_ns = unix_s * ns_a_second, .utc_offset_s = utc_offset_s});
  journal.knock().heard("call", 400ms);
  return figures_of(journal.ended().results());
}

TEST(FiguresOf, ANightLastsFromNoonToNoonOfTheLocalClock) {
  EXPECT_EQ(night_begun_at(begin_of_watch_s, 0).night, "2026-06-11");
  EXPECT_EQ(night_begun_at(begin_of_watch_s, 7200).night, "2026-06-11");
  EXPECT_EQ(night_begun_at(begin_of_watch_s + 4 * 3600, 7200).night, "2026-06-11");    // 03:58
  EXPECT_EQ(night_begun_at(begin_of_watch_s + 13 * 3600, 7200).night, "2026-06-12");   // 12:58
  EXPECT_EQ(night_begun_at(begin_of_watch_s + 13 * 3600, -7200).night, "2026-06-11");  // 08:58
}

journal::Host workshop(const std::string& started_utc, const std::string& run_id = "") {
  return {.started_utc = started_utc, .host_name = "bench-2", .run_id = run_id};
}

RunFigures figures_on(const journal::Host& host) {
  JournalBuilder journal;
  journal.on(host).knock().heard("call", 400ms);
  return figures_of(journal.ended().results());
}

TEST(FiguresOf, WithoutAWallClockTheHostsStartCounts) {
  const RunFigures figures = figures_on(workshop("2026-06-11T21:58:20Z"));
  EXPECT_EQ(figures.started_ns, begin_of_watch_s * ns_a_second);
  EXPECT_EQ(figures.night, "2026-06-11");
  EXPECT_EQ(figures_on(workshop("yesterday")).started_ns, 0);
  EXPECT_EQ(figures_on(workshop("yesterday")).night, "");
}

TEST(FiguresOf, ARunKeepsItsIdOrGetsOneThatIsTheSameEachTime) {
  const std::string own = "0b5c2b8e-1f0a-4e9c-9d58-0a4f6b5f2f11";
  EXPECT_EQ(figures_on(workshop("2026-06-11T21:58:20Z", own)).run_id, own);
  const std::string made = figures_on(workshop("2026-06-11T21:58:20Z")).run_id;
  EXPECT_EQ(made.size(), own.size());
  EXPECT_EQ(made[14], '5');  // by a name, with SHA-1: RFC 4122, section 4.3
  EXPECT_EQ(made, figures_on(workshop("2026-06-11T21:58:20Z")).run_id);
  EXPECT_NE(made, figures_on(workshop("2026-06-12T21:58:20Z")).run_id);
}

TEST(FiguresOf, HoldsWhatTheRunCameTo) {
  JournalBuilder journal;
  journal.began({.boot_id = "a", .wall_ns = begin_of_watch_s * ns_a_second});
  journal.knock().heard("call", 400ms).transit(5ms).coil(31.0);
  journal.knock().voided(base::VoidReason::re_strike);
  const base::Instant begin = journal.quiet(3h).heard("call", 1h).heard("call", 2h).begun();
  journal.meanwhile(journal::Disturbance{"kiln door", "hand", begin + 119min, begin + 121min});
  journal.restart({.boot_id = "b", .wall_ns = (begin_of_watch_s + 4 * 3600) * ns_a_second});
  const Results results = journal.ended(journal::Ended::Reason::interrupted).results();
  const RunFigures figures = figures_of(results);
  EXPECT_EQ(figures.scenario, "release check, oak counter");
  EXPECT_EQ(figures.ended, "interrupted");
  EXPECT_EQ(figures.judged, "undecided");
  EXPECT_EQ(figures.trials, 1U);
  EXPECT_EQ(figures.voids, 1U);
  EXPECT_EQ(figures.holes, results.holes);
  EXPECT_EQ(figures.holes.size(), 1U);
  EXPECT_NEAR(figures.transit_ms.value(), 5.0, 1e-9);
  ASSERT_EQ(figures.devices.size(), 1U);
  const DeviceFigures& panel = figures.devices.front();
  EXPECT_EQ(panel.release, "1.4");
  EXPECT_EQ(panel.detected, (Counts{1, 1}));
  EXPECT_EQ(panel.incidents, 1U);
  EXPECT_EQ(panel.disturbed_incidents, 1U);
  EXPECT_NEAR(panel.quiet_hours, 3.0 - 122.0 / 3600.0, 1e-12);
  EXPECT_NEAR(panel.median_ms.value(), 400.0, 1e-9);
  EXPECT_EQ(panel.by_hour[22].incidents, 1U);  // 21:58 and an hour
}

}  // namespace
}  // namespace plexor::analysis
