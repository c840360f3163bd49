#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "conductor/bench_setup.hpp"

// A device that hangs in mid-run, and what its [device.recovery] makes of it.

namespace plexor::run {
namespace {

using namespace std::chrono_literals;
using journal::Ended;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

const std::string with_recovery = rig_text +
                                  "[device.recovery]\nsilent_after_misses = 4\nafter_s = 60\n"
                                  "off_s = 3\nboot_s = 5\nmost_per_hour = 2\n";

TEST(Recovery, CyclesThePowerOfADeviceThatHangsAndKeepsItsMisses) {
  Bench bench(scenario_text(40), {.hangs_at = base::segment_start + 20s}, false, with_recovery);
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  const auto cycles = bench.records<journal::PowerCycle>();
  ASSERT_THAT(cycles, SizeIs(1));
  EXPECT_EQ(cycles.front().device, 0U);
  EXPECT_EQ(cycles.front().reason, "4 rhythms in a row unanswered");
  EXPECT_EQ(bench.progress().expected - bench.progress().hits, 4U) << "they are the device's";
  EXPECT_THAT(bench.voids(), IsEmpty());
  EXPECT_EQ(bench.progress().done, 40U);
}

TEST(Recovery, TapsNothingWhileTheDeviceIsAway) {
  Bench bench(scenario_text(40), {.hangs_at = base::segment_start + 20s}, false, with_recovery);
  bench.run();
  ASSERT_THAT(bench.tapper.switched, SizeIs(2));
  const auto [off, on] = std::pair{bench.tapper.switched[0], bench.tapper.switched[1]};
  EXPECT_FALSE(off.on);
  EXPECT_TRUE(on.on);
  EXPECT_EQ(on.at - off.at, 3s);
  EXPECT_EQ(bench.records<journal::PowerCycle>().front().at, off.at);
  for (const base::Pulse& pulse : bench.tapper.fired) {
    EXPECT_TRUE(pulse.on < off.at || pulse.on >= on.at + 5s);
  }
}

TEST(Recovery, GoesOnWithoutAfterSoManyCyclesInAnHour) {
  Bench bench(scenario_text(60), {.hangs_at = base::segment_start + 20s, .hangs_again = true},
              false, with_recovery);
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  EXPECT_THAT(bench.records<journal::PowerCycle>(), SizeIs(2));
  EXPECT_EQ(bench.progress().done, 60U);
  EXPECT_THAT(bench.progress().hung, HasSubstr("restarted 2 times"));
}

TEST(Recovery, LeavesADeviceAloneWithoutATableOfItsOwn) {
  Bench bench(scenario_text(40), {.hangs_at = base::segment_start + 20s});
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  EXPECT_THAT(bench.tapper.switched, IsEmpty());
  EXPECT_THAT(bench.records<journal::PowerCycle>(), IsEmpty());
}

TEST(Recovery, CyclesADeviceThatItsListenerNoLongerHears) {
  Bench bench(
      scenario_text(40),
      {.listener_down_at = base::segment_start + 20s, .listener_up_at = base::segment_start + 85s},
      false, with_recovery);
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  const auto cycles = bench.records<journal::PowerCycle>();
  ASSERT_THAT(cycles, SizeIs(1));
  EXPECT_THAT(cycles.front().reason, HasSubstr("not heard for 6"));
  EXPECT_EQ(bench.progress().hits, 40U);
}

TEST(Recovery, GivesThePowerBackWhereTheRunIsStoppedMeanwhile) {
  // Stopped after every possible number of inputs: the power must be on at each end.
  bool was_off = false;
  for (int inputs = 0; inputs < 200; ++inputs) {
    Bench bench(scenario_text(40), {.hangs_at = base::segment_start + 5s}, false, with_recovery);
    bench.run(inputs);
    if (bench.tapper.switched.empty()) continue;
    EXPECT_TRUE(bench.tapper.switched.back().on) << inputs;
    was_off = was_off || bench.tapper.switched.back().at - bench.tapper.switched.front().at < 3s;
  }
  EXPECT_TRUE(was_off) << "one of the stops came while it was off";
}

TEST(Recovery, NothingIsMissedInALiftedRun) {
  std::string rig = with_recovery;
  const std::string tip_switch = "tip-switch";
  rig.replace(rig.find(tip_switch), tip_switch.size(), "none");
  Bench bench(scenario_text(40), {.hangs_at = base::segment_start + 20s}, true, rig);
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  EXPECT_THAT(bench.voids(), IsEmpty());
  EXPECT_THAT(bench.records<journal::PowerCycle>(), IsEmpty());
}

}  // namespace
}  // namespace plexor::run
