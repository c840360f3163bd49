#include "run/disk_room.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/error.hpp"
#include "conductor/bench_setup.hpp"

namespace plexor::run {
namespace {

using namespace std::chrono_literals;
using ::testing::AllOf;
using ::testing::HasSubstr;

/// What `trials` calls on this rig would write.
Footprint calls(int trials, const std::string& rig = rig_text, const std::string& more = "") {
  const auto scenario = scenario::parse_scenario(scenario_text(trials, more), "test.toml");
  const auto parsed = rig::parse_rig(rig, "rig.toml");
  return footprint_of(scenario, parsed, rehearse(scenario, "test.toml", parsed));
}

TEST(DiskRoom, KnowsAboutWhatAJournalWillTake) {
  // The bench of these tests writes a real journal, of trials with two taps and one answer.
  const auto journal_grows_by = [](int trials) {
    Bench bench(scenario_text(trials));
    bench.run();
    return static_cast<double>(bench.bytes.size());
  };
  const double written = journal_grows_by(400) - journal_grows_by(200);
  const double planned = static_cast<double>(calls(400).journal - calls(200).journal);
  EXPECT_GT(planned, written) << "rather too much than too little";
  EXPECT_LT(planned, 1.4 * written);
}

TEST(DiskRoom, CountsChannelsByTheirSamples) {
  const std::string channel =
      "[[channel]]\nname = \"disc\"\ndevice = \"panel\"\nrate_hz = 1000\nlowest = 0\n"
      "highest = 4095\nunit = \"LSB\"\n";
  EXPECT_EQ(calls(100).waveforms, 0U);
  // 100 ms before, 190 ms of the call, 600 ms of its window.
  EXPECT_EQ(calls(100, rig_text + channel).waveforms, 100U * 890U);
  const std::string quiet = "[[block]]\nquiet_s = 1000\n";
  EXPECT_EQ(calls(100, rig_text + channel, quiet).waveforms, 100U * 890U + 100'000U * 2U)
      << "a bin is 10 ms";
}

TEST(DiskRoom, EndsARunBeforeTheDiskIsFull) {
  EXPECT_FALSE(why_disk_ends_run(disk_reserve, "runs"));
  EXPECT_THAT(why_disk_ends_run(disk_reserve - 1, "runs").value(),
              AllOf(HasSubstr("67 MB are free where runs is"), HasSubstr("make room")));
}

TEST(DiskRoom, SaysHowFarTheDiskReaches) {
  const Footprint footprint{.journal = 60'000'000, .waveforms = 30'000'000, .reports = 10'000'000};
  const Reach ample = reach_of(disk_reserve + 250'000'000, footprint, 4h);
  EXPECT_DOUBLE_EQ(ample.runs, 2.5);
  EXPECT_DOUBLE_EQ(ample.hours, 10.0);
  EXPECT_TRUE(ample.fits());
  EXPECT_FALSE(reach_of(disk_reserve + 99'000'000, footprint, 4h).fits());
  EXPECT_EQ(reach_of(1, footprint, 4h).runs, 0.0) << "less than the reserve";
}

TEST(DiskRoom, IsThatOfTheNearestFolderThatIsThere) {
  const auto here = std::filesystem::temp_directory_path();
  const auto free_here = static_cast<double>(free_bytes_at(here));
  EXPECT_GT(free_here, 0.0);
  EXPECT_NEAR(static_cast<double>(free_bytes_at(here / "not" / "yet" / "there")), free_here, 1e9);
}

}  // namespace
}  // namespace plexor::run
