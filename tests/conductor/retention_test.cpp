#include "run/retention.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace plexor::run {
namespace {

using journal::Ended;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

RecordedRun finished(int night) {
  return {.name = "night " + std::to_string(night),
          .night = std::chrono::sys_days{std::chrono::days{night}},
          .ended = Ended::Reason::complete,
          .has_results = true,
          .has_waveforms = true};
}

TEST(Retention, KeepsTheLastNightsThatHadRuns) {
  // Two runs in one night, and a holiday of 30 nights.
  const auto kept =
      what_is_kept({finished(10), finished(11), finished(41), finished(41), finished(42)},
                   {.journals = 2, .waveforms = 1});
  ASSERT_EQ(kept.size(), 5U);
  EXPECT_TRUE(kept[0].removes_journal && kept[0].removes_waveforms);
  EXPECT_TRUE(kept[1].removes_journal && kept[1].removes_waveforms);
  for (const unsigned run : {2U, 3U}) {
    EXPECT_FALSE(kept[run].removes_journal);
    EXPECT_TRUE(kept[run].removes_waveforms);
  }
  EXPECT_FALSE(kept[4].removes_journal || kept[4].removes_waveforms);
  for (const Keeping& one : kept) EXPECT_THAT(one.kept_because, IsEmpty());
}

TEST(Retention, TakesNothingFromARunThatIsStillNeeded) {
  RecordedRun alive = finished(1);
  alive.ended.reset();
  RecordedRun interrupted = finished(1);
  interrupted.ended = Ended::Reason::interrupted;
  RecordedRun unreported = finished(1);
  unreported.has_results = false;
  RecordedRun unarchived = finished(1);
  unarchived.is_archived = false;
  RecordedRun archived = finished(1);
  archived.is_archived = true;
  RecordedRun faulty = finished(1);
  faulty.ended = Ended::Reason::fault;
  const auto kept = what_is_kept(
      {alive, interrupted, unreported, unarchived, archived, faulty, finished(9)}, {1, 1});
  for (const unsigned run : {0U, 1U, 2U, 3U}) {
    EXPECT_FALSE(kept[run].removes_journal || kept[run].removes_waveforms) << run;
  }
  EXPECT_THAT(kept[0].kept_because, HasSubstr("goes on"));
  EXPECT_THAT(kept[1].kept_because, HasSubstr("resumed"));
  EXPECT_THAT(kept[2].kept_because, HasSubstr("plexor report"));
  EXPECT_THAT(kept[3].kept_because, HasSubstr("archive"));
  EXPECT_TRUE(kept[4].removes_journal);
  EXPECT_TRUE(kept[5].removes_journal) << "a fault is an end";
}

TEST(Retention, LeavesNoWaveformsWithoutTheirJournal) {
  const auto kept = what_is_kept({finished(1), finished(2)}, {.journals = 1, .waveforms = 100});
  EXPECT_TRUE(kept[0].removes_journal && kept[0].removes_waveforms);
  RecordedRun without = finished(1);
  without.has_waveforms = false;
  EXPECT_FALSE(what_is_kept({without, finished(2)}, {1, 1})[0].removes_waveforms);
}

}  // namespace
}  // namespace plexor::run
