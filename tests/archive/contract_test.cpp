#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <chrono>
#include <ctime>
#include <sstream>
#include <tuple>

#include "archive/bench.hpp"
#include "archive/database.hpp"
#include "archive/queue.hpp"
#include "base/error.hpp"
#include "base/sanitized.hpp"

// What an archive promises, on each engine.

namespace plexor::archive {
namespace {

using analysis::RunFigures;
using testing::ElementsAre;
using testing::HasSubstr;
using testing::IsEmpty;

std::vector<std::string> ids(const std::vector<RunFigures>& runs) {
  std::vector<std::string> all;
  for (const RunFigures& run : runs) all.push_back(run.run_id);
  return all;
}

TEST(Archive, GivesBackWhatItWasGiven) {
  std::vector<RunFigures> runs;
  for (std::uint64_t seed = 1; seed <= 150; ++seed) runs.push_back(random_run(seed));
  Archive archive(fresh_archive());
  archive.import(runs);
  std::ranges::sort(runs, {}, [](const RunFigures& run) {
    return std::tuple(run.night, run.started_ns, run.run_id);
  });
  const auto found = archive.find({.with_lifted = true});
  ASSERT_EQ(found.size(), runs.size());
  for (std::size_t i = 0; i < runs.size(); ++i) EXPECT_EQ(found[i], runs[i]) << runs[i].run_id;
}

TEST(Archive, ToldOneByOneOrAllAtOnceKeepsTheSame) {
  std::vector<RunFigures> runs;
  for (std::uint64_t seed = 1; seed <= 20; ++seed) runs.push_back(random_run(seed));
  Archive one_by_one(fresh_archive());
  for (const RunFigures& run : runs) one_by_one.import(run);
  Archive at_once(fresh_archive());
  at_once.import(runs);
  EXPECT_EQ(one_by_one.find({.with_lifted = true}), at_once.find({.with_lifted = true}));
}

TEST(Archive, TakesARunOnceHoweverOftenItIsBrought) {
  Archive archive(fresh_archive());
  RunFigures run = random_run(7);
  EXPECT_EQ(archive.import(run), Imported::stored);
  run.folder = "a copy elsewhere";
  EXPECT_EQ(archive.import(run), Imported::there_already);
  EXPECT_EQ(archive.find({.with_lifted = true}).size(), 1U);
}

TEST(Archive, ReplacesARunThatWentOn) {
  Archive archive(fresh_archive());
  RunFigures run = plain_run("a");
  run.holes.push_back({});
  archive.import(run);
  run.holes.push_back({.cause = analysis::Hole::Cause::killed, .begins_s = 3600.0});
  run.devices[0].by_hour[0] = {1.0, 0};
  run.devices[0].by_hour[23] = {};
  EXPECT_EQ(archive.import(run), Imported::replaced);
  EXPECT_THAT(archive.find({}), ElementsAre(run));
}

TEST(Archive, TakesNothingOfAnOlderOrCutCopy) {
  Archive archive(fresh_archive());
  RunFigures whole = plain_run("a");
  whole.ended = "complete";
  archive.import(whole);
  RunFigures older = whole;
  older.duration_s -= 60.0;
  EXPECT_EQ(archive.import(older), Imported::has_more);
  RunFigures cut = whole;
  cut.ended = "";
  EXPECT_EQ(archive.import(cut), Imported::has_more);
  EXPECT_THAT(archive.find({}), ElementsAre(whole));
}

TEST(Archive, TakesTheLastOfOneRunThatComesTwiceAtOnce) {
  Archive archive(fresh_archive());
  RunFigures later = plain_run("a");
  later.trials = 6000;
  const std::vector<RunFigures> runs{plain_run("a"), later, later};
  EXPECT_THAT(archive.import(runs),
              ElementsAre(Imported::stored, Imported::replaced, Imported::there_already));
  EXPECT_THAT(archive.find({}), ElementsAre(later));
}

TEST(Archive, KeepsTextsThatNoEngineCan) {
  Archive archive(fresh_archive());
  RunFigures run = plain_run("a");
  run.headline = std::string("knock\0knock", 11);
  run.folder = "/kiln/\xff";
  archive.import(run);
  const auto found = archive.find({});
  ASSERT_EQ(found.size(), 1U);
  EXPECT_EQ(found[0].headline, "knock\uFFFDknock");
  EXPECT_EQ(found[0].folder, "/kiln/\uFFFD");
}

TEST(Archive, FindsByRigSurfaceScenarioAndNight) {
  Archive archive(fresh_archive());
  RunFigures other = plain_run("b", "2026-06-12");
  other.rig = "south";
  other.surface = "granite slab";
  other.scenario = "short check";
  archive.import(std::vector{plain_run("a"), other, plain_run("c", "2026-06-13")});
  EXPECT_THAT(ids(archive.find({})), ElementsAre("a", "b", "c"));
  EXPECT_THAT(ids(archive.find({.rig = "south"})), ElementsAre("b"));
  EXPECT_THAT(ids(archive.find({.surface = "granite slab"})), ElementsAre("b"));
  EXPECT_THAT(ids(archive.find({.scenario = "night watch"})), ElementsAre("a", "c"));
  EXPECT_THAT(ids(archive.find({.from_night = "2026-06-12"})), ElementsAre("b", "c"));
  EXPECT_THAT(ids(archive.find({.to_night = "2026-06-12"})), ElementsAre("a", "b"));
  EXPECT_THAT(archive.find({.rig = "north", .surface = "granite slab"}), IsEmpty());
}

TEST(Archive, ShowsTheDevicesThatWereAskedForAlone) {
  Archive archive(fresh_archive());
  RunFigures both = plain_run("a");
  both.devices.push_back(both.devices[0]);
  both.devices[1].name = "shelf";
  both.devices[1].by_hour[4] = {0.5, 9};
  RunFigures newer = plain_run("b");
  newer.devices[0].release = "1.5";
  archive.import(std::vector{both, newer});

  const auto shelves = archive.find({.unit = "shelf"});
  EXPECT_THAT(ids(shelves), ElementsAre("a"));
  EXPECT_THAT(shelves[0].devices, ElementsAre(both.devices[1]));
  EXPECT_THAT(ids(archive.find({.release = "1.5"})), ElementsAre("b"));
  EXPECT_THAT(ids(archive.find({.release = "1.4", .unit = "panel"})), ElementsAre("a"));
  EXPECT_THAT(archive.find({.release = "1.5", .unit = "shelf"}), IsEmpty());
}

TEST(Archive, LeavesLiftedRunsOutUnlessTheyAreAskedFor) {
  Archive archive(fresh_archive());
  RunFigures lifted = plain_run("a");
  lifted.lifted = true;
  archive.import(lifted);
  EXPECT_THAT(archive.find({}), IsEmpty());
  EXPECT_THAT(archive.find({.newest_nights = 3}), IsEmpty());
  EXPECT_THAT(ids(archive.find({.with_lifted = true})), ElementsAre("a"));
}

TEST(Archive, TheNewestNightsAreThoseInWhichThereWereSuchRuns) {
  Archive archive(fresh_archive());
  RunFigures newest = plain_run("d", "2026-06-20");
  newest.devices[0].release = "1.5";
  newest.rig = "south";
  archive.import(std::vector{plain_run("a", "2026-06-11"), plain_run("b", "2026-06-15"),
                             plain_run("c", "2026-06-15"), newest});
  EXPECT_THAT(ids(archive.find({.newest_nights = 1})), ElementsAre("d"));
  EXPECT_THAT(ids(archive.find({.newest_nights = 2})), ElementsAre("b", "c", "d"));
  EXPECT_THAT(ids(archive.find({.rig = "north", .newest_nights = 1})), ElementsAre("b", "c"));
  EXPECT_THAT(ids(archive.find({.release = "1.4", .newest_nights = 1})), ElementsAre("b", "c"));
  EXPECT_THAT(ids(archive.find({.release = "1.4", .to_night = "2026-06-14", .newest_nights = 1})),
              ElementsAre("a"));
}

TEST(Archive, OpensAgainWithWhatItHolds) {
  const Address address = fresh_archive();
  { Archive(address).import(plain_run("a")); }
  EXPECT_THAT(ids(Archive(address).find({})), ElementsAre("a"));
}

TEST(Archive, RefusesOneOfANewerVersion) {
  const Address address = fresh_archive();
  Archive(address).database().transact(Database::Access::write, [](soci::session& session) {
    session << "UPDATE archive_version SET version = 99";
  });
  try {
    const Archive archive(address);
    FAIL() << "opened";
  } catch (const base::InputError& error) {
    EXPECT_THAT(error.what(), HasSubstr("found an archive of version 99"));
    EXPECT_THAT(error.what(), HasSubstr("use the plexor that made it"));
  }
}

TEST(Archive, UndoesWhatATransactionDidBeforeItFailed) {
  Archive archive(fresh_archive());
  const auto broken = [](soci::session& session) {
    session << "UPDATE archive_version SET version = 99";
    session << "UPDATE no_such_table SET version = 99";
  };
  EXPECT_THROW(archive.database().transact(Database::Access::write, broken), base::RigFault);
  int version = 0;
  archive.database().transact(Database::Access::read, [&](soci::session& session) {
    session << "SELECT version FROM archive_version", soci::into(version);
  });
  EXPECT_LT(version, 99);
}

TEST(Archive, ServesProcessesThatComeAtOnce) {
  const Address address = fresh_archive();
  const auto bring = [&address] {
    Archive archive(address);  // all of them find nothing there
    std::vector<RunFigures> runs;
    for (std::uint64_t seed = 1; seed <= 30; ++seed) runs.push_back(random_run(seed));
    for (const RunFigures& run : runs) archive.import(run);
    archive.import(runs);
  };
  EXPECT_EQ(failed_of({6, bring}), 0);
  const auto found = Archive(address).find({.with_lifted = true});
  EXPECT_EQ(found.size(), 30U);
  for (const RunFigures& run : found) EXPECT_EQ(run, random_run(std::stoul(run.run_id)));
}

TEST(Archive, OfManyThatBringOneRunOneStoresIt) {
  const Address address = fresh_archive();
  Archive archive(address);
  const auto bring_all = [&address] {
    Archive mine(address);
    for (int run = 0; run < 40; ++run) mine.import(plain_run(std::to_string(run)));
  };
  EXPECT_EQ(failed_of({4, bring_all}), 0);
  EXPECT_EQ(archive.find({}).size(), 40U);
}

// ---- ten thousand runs

std::string night_of(std::uint64_t day) {
  const std::chrono::year_month_day date{
      std::chrono::sys_days(std::chrono::days(18000 + static_cast<std::int64_t>(day)))};
  std::string text = std::to_string(static_cast<int>(date.year()));
  for (const unsigned part :
       {static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day())}) {
    text += (part < 10 ? "-0" : "-") + std::to_string(part);
  }
  return text;
}

/// Four rigs, 2500 nights, a release every 50 nights; each rig has a surface, and two units.
std::vector<RunFigures> long_history(std::uint64_t runs) {
  std::vector<RunFigures> all;
  for (std::uint64_t i = 0; i < runs; ++i) {
    const std::uint64_t night = i / 4;
    RunFigures& run = all.emplace_back(plain_run(std::to_string(i), night_of(night)));
    run.rig = "rig " + std::to_string(i % 4);
    run.surface = "surface " + std::to_string(i % 4);
    run.scenario = "scenario " + std::to_string(night % 25);
    run.holes.push_back({.begins_s = 3600.0});
    run.devices.push_back(run.devices[0]);
    for (std::size_t device = 0; device < 2; ++device) {
      run.devices[device].name = "unit " + std::to_string(2 * (i % 4) + device);
      run.devices[device].release = std::to_string(night / 50);
      for (std::size_t hour = 0; hour < 8; ++hour) run.devices[device].by_hour[hour] = {1.0, hour};
    }
  }
  return all;
}

/// Lines in which a whole table is read: SQLite's and PostgreSQL's words for it. One index is gone
/// along from its end, until there are nights enough.
std::vector<std::string> full_scans(const std::string& plan) {
  std::vector<std::string> found;
  std::istringstream lines(plan);
  for (std::string line; std::getline(lines, line);) {
    const bool is_sqlite_scan = line.starts_with("SCAN ") && !line.starts_with("SCAN newest") &&
                                line.find("INDEX run_by_night") == std::string::npos;
    if (is_sqlite_scan || line.find("Seq Scan on") != std::string::npos) found.push_back(line);
  }
  return found;
}

/// Of this process, in seconds: how much else the machine does is no matter.
double processor_time() { return static_cast<double>(std::clock()) / CLOCKS_PER_SEC; }

TEST(Archive, AnswersFromItsIndexesAmongTenThousandRuns) {
  const std::uint64_t many = base::is_sanitized ? 2000 : 10'000;
  const auto runs = long_history(many);
  Archive archive(fresh_archive());
  const double before = processor_time();
  archive.import(runs);
  EXPECT_LT(processor_time() - before, 10.0);
  analyse_tables(archive);
  const std::string last = runs.back().night;
  const std::vector<Query> queries{
      {.newest_nights = 30},
      {.release = "3", .newest_nights = 30},
      {.release = "3"},
      {.unit = "unit 3", .newest_nights = 30},
      {.rig = "rig 2", .newest_nights = 30},
      {.surface = "surface 1", .newest_nights = 30},
      {.scenario = "scenario 9", .newest_nights = 30},
      {.release = "3", .unit = "unit 3", .rig = "rig 1", .newest_nights = 30},
      {.from_night = last, .to_night = last},
      {.unit = "unit 3", .from_night = last},
      {.surface = "surface 1", .from_night = last},
  };
  for (std::size_t i = 0; i < queries.size(); ++i) {
    const std::string plan = archive.plan_of(queries[i]);
    EXPECT_THAT(full_scans(plan), IsEmpty()) << "query " << i << ":\n" << plan;
    EXPECT_THAT(archive.find(queries[i]), testing::Not(IsEmpty())) << "query " << i;
  }
}

}  // namespace
}  // namespace plexor::archive
