#include "run/pulse_thread.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>

#include "base/error.hpp"
#include "conductor/pulse_bench.hpp"
#include "conductor/without_rights.hpp"

// On virtual lines and in real time. What a loaded machine makes late is borne:
// no test asks that something comes soon, only that it does not come too soon,
// too long or at all.

namespace plexor::run {
namespace {

using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

TEST(PulseThread, GivesATrialsPulsesAndTellsWhenTheyWere) {  // [S60]
  PulseBench bench;
  const base::Instant before = bench.clock.now();
  bench.fire({{30ms, 10ms}, {120ms, 12ms}});
  ASSERT_TRUE(bench.trial_ends());
  const auto given = bench.given();
  ASSERT_THAT(given, SizeIs(2));
  const auto fired = bench.fired();
  ASSERT_THAT(fired, SizeIs(2));
  for (std::uint32_t tap = 0; tap < 2; ++tap) {
    EXPECT_EQ(fired[tap].tap, tap);
    EXPECT_GE(given[tap].off - given[tap].on, tap == 0 ? 9ms : 11ms);
    EXPECT_GE(fired[tap].actual.on, bench.clock.of(given[tap].on) - 50us)
        << "never told as earlier";
    EXPECT_GE(fired[tap].actual.on_time, given[tap].off - given[tap].on);
    EXPECT_GE(fired[tap].actual.off(), bench.clock.of(given[tap].off));
  }
  EXPECT_GE(fired[0].actual.on, before + 30ms) << "not before its instant";
  EXPECT_GE(fired[1].actual.on, before + 120ms);
  EXPECT_THAT(bench.told(), IsEmpty());
}

TEST(PulseThread, GivesNoEdgeWithoutAPermit) {  // [S60]
  PulseBench bench;
  bench.queue({{5ms, 10ms}, {100ms, 10ms}}, 1);  // armed, but no trial was begun
  lines::kernel_nap(200ms);
  EXPECT_THAT(bench.given(), IsEmpty());
  EXPECT_THAT(bench.fired(), IsEmpty());
}

TEST(PulseThread, GivesNoEdgeForAnotherEpoch) {  // [S8] [S60]
  PulseBench bench;
  const auto epoch = bench.overseer.begin_trial();
  ASSERT_TRUE(epoch);
  bench.queue({{5ms, 10ms}}, *epoch - 1);
  ASSERT_TRUE(bench.trial_ends());
  EXPECT_THAT(bench.given(), IsEmpty());
}

TEST(PulseThread, APermitTakenBetweenTwoTapsStopsTheSecond) {  // [S60]
  PulseBench bench;
  bench.fire({{5ms, 10ms}, {500ms, 10ms}});
  ASSERT_TRUE(PulseBench::comes_true([&] { return bench.fired().size() == 1; }));
  bench.overseer.see(safety::Guard::supply, safety::Reading::bad);
  ASSERT_TRUE(bench.pulses->cut() || bench.trial_ends());
  lines::kernel_nap(600ms);
  EXPECT_THAT(bench.given(), SizeIs(1));
}

TEST(PulseThread, AListenerThatIsSilentBetweenTwoTapsStopsTheSecondAndNoMore) {  // [S9] [S60]
  PulseBench bench;
  bench.fire({{5ms, 10ms}, {300ms, 10ms}});
  ASSERT_TRUE(PulseBench::comes_true([&] { return bench.fired().size() == 1; }));
  bench.overseer.see_listeners(false);
  ASSERT_TRUE(bench.trial_ends());
  EXPECT_THAT(bench.given(), SizeIs(1));
  bench.overseer.see_listeners(true);
  bench.fire({{50ms, 10ms}});
  ASSERT_TRUE(bench.trial_ends());
  EXPECT_THAT(bench.given(), SizeIs(2));
}

TEST(PulseThread, CutsAPulseThatIsAskedToBeTooLong) {  // [S62] [S63]
  PulseBench bench;
  bench.fire({{5ms, 3s}});
  const KernelInstant asked = lines::kernel_now();
  ASSERT_TRUE(bench.trial_ends());
  EXPECT_LT(lines::kernel_now() - asked, 2s);
  ASSERT_THAT(bench.given(), SizeIs(1));
  EXPECT_GE(bench.given()[0].off - bench.given()[0].on, 29ms);
}

TEST(PulseThread, GivesNoPulseSoonerAfterAnotherThanTheRest) {  // [S63]
  PulseBench bench;
  std::vector<std::pair<Duration, Duration>> many{{5ms, 25ms}};
  for (Duration begin = 10ms; begin < 300ms; begin += 4ms) many.emplace_back(begin, 25ms);
  bench.fire(many);
  ASSERT_TRUE(bench.trial_ends());
  const auto given = bench.given();
  ASSERT_GE(given.size(), 2U);
  for (std::size_t i = 1; i < given.size(); ++i) EXPECT_GE(given[i].on - given[i - 1].off, 40ms);
}

TEST(PulseThread, KeepsTheRestFromOneTrialToTheNext) {  // [S63]
  PulseBench bench;
  bench.fire({{5ms, 10ms}});
  ASSERT_TRUE(bench.trial_ends());
  bench.fire({{0ms, 10ms}});
  ASSERT_TRUE(bench.trial_ends());
  const auto given = bench.given();
  if (given.size() == 2) {
    EXPECT_GE(given[1].on - given[0].off, 40ms);
  }
}

TEST(PulseThread, ACutEndsAPulseAndDropsTheRest) {  // [S62]
  PulseBench bench;
  bench.fire({{5ms, 30ms}, {200ms, 30ms}});
  ASSERT_TRUE(bench.gate_goes_on());
  EXPECT_TRUE(bench.pulses->cut());
  EXPECT_FALSE(bench.gate_is_on());
  lines::kernel_nap(300ms);
  EXPECT_THAT(bench.given(), SizeIs(1));
  EXPECT_TRUE(bench.pulses->cut()) << "with nothing to cut";
}

TEST(PulseThread, TakesOneTrialAtATimeAndNotTooManyPulses) {  // [S62]
  PulseBench bench;
  bench.fire({{300ms, 10ms}});
  const std::vector<Pulse> one{{bench.clock.now() + 1s, 10ms}};
  EXPECT_THROW(bench.pulses->queue(one, 1), base::RigFault);
  ASSERT_TRUE(bench.trial_ends());
  EXPECT_THAT(bench.given(), SizeIs(1)) << "the first is as it was";
  const std::vector<Pulse> too_many(PulseThread::most_pulses + 1, one[0]);
  EXPECT_THROW(bench.pulses->queue(too_many, 1), base::RigFault);
}

TEST(PulseThread, ItsEndInAPulseLeavesTheGateInactive) {  // [S69]
  PulseBench bench;
  bench.fire({{5ms, 30ms}, {100ms, 30ms}});
  ASSERT_TRUE(bench.gate_goes_on());
  bench.pulses.reset();
  EXPECT_FALSE(bench.gate_is_on());
  EXPECT_THAT(bench.given(), SizeIs(1));
}

TEST(PulseThread, BeatsWithinAPulseToo) {  // [S61]
  safety::Limits long_pulses = tapper_limits();
  long_pulses.max_pulse = 5s;
  PulseBench bench(long_pulses);
  bench.fire({{5ms, 5s}});
  ASSERT_TRUE(bench.gate_goes_on());
  const std::uint64_t before = bench.heartbeats();
  EXPECT_TRUE(PulseBench::comes_true([&] { return bench.heartbeats() > before + 20; }));
  EXPECT_TRUE(bench.gate_is_on());
  EXPECT_TRUE(bench.pulses->cut());
}

TEST(PulseThread, BeatsWhileItWaitsForAPulse) {  // [S61]
  PulseBench bench;
  bench.fire({{10s, 10ms}});
  const std::uint64_t before = bench.heartbeats();
  EXPECT_TRUE(PulseBench::comes_true([&] { return bench.heartbeats() > before + 20; }));
  EXPECT_THAT(bench.given(), IsEmpty());
  EXPECT_TRUE(bench.pulses->cut());
}

/// How long the thread of the pulses has kept a core busy.
Duration core_time_of_pulses() {
  for (const auto& task : std::filesystem::directory_iterator("/proc/self/task")) {
    std::string name;
    std::ifstream(task.path() / "comm") >> name;
    std::int64_t busy_ns = 0;
    if (name == "pulses" && std::ifstream(task.path() / "schedstat") >> busy_ns) {
      return Duration{busy_ns};
    }
  }
  throw std::runtime_error("no thread of the pulses");
}

TEST(PulseThread, SleepsUntilShortlyBeforeAPulseAndBetweenItsEdges) {  // [S73]
  safety::Limits long_pulses = tapper_limits();
  long_pulses.max_pulse = 1s;
  PulseBench bench(long_pulses);
  const Duration before = core_time_of_pulses();
  bench.fire({{500ms, 500ms}});
  ASSERT_TRUE(bench.trial_ends());
  EXPECT_THAT(bench.given(), SizeIs(1));
  EXPECT_LT(core_time_of_pulses() - before, 300ms) << "of the second that it takes";
}

TEST(PulseThread, ACutWhileItSpinsIsSeenBeforeTheEdge) {  // [S62]
  PulseBench bench(tapper_limits(), 100ms);
  const auto edge_is_cut = [&] {  // unless this machine has held up the test for 50 ms
    const std::size_t before = bench.given().size();
    bench.fire({{150ms, 10ms}});
    lines::kernel_nap(100ms);
    EXPECT_TRUE(bench.pulses->cut());
    EXPECT_FALSE(bench.gate_is_on());
    return bench.given().size() == before;
  };
  EXPECT_TRUE(edge_is_cut() || edge_is_cut() || edge_is_cut());
}

TEST(PulseThread, DoesNothingElseWhileItSpins) {  // a tick may have to wait for a lock
  PulseBench bench(tapper_limits(), 100ms);
  const auto heart_rests = [&] {  // unless this machine is late by 40 ms
    bench.fire({{150ms, 10ms}});
    lines::kernel_nap(90ms);
    const std::uint64_t before = bench.heartbeats();
    lines::kernel_nap(20ms);
    const std::uint64_t after = bench.heartbeats();
    EXPECT_TRUE(bench.trial_ends());
    return before == after;
  };
  EXPECT_TRUE(heart_rests() || heart_rests() || heart_rests());
}

TEST(PulseThread, HeldUpInTheEdgeItTellsHowLateAndHowLongAtMost) {
  PulseBench bench;
  bench.faults.held_up_on = true;
  bench.fire({{5ms, 30ms}});
  ASSERT_TRUE(bench.trial_ends());
  ASSERT_THAT(bench.given(), SizeIs(1));
  ASSERT_TRUE(PulseBench::comes_true([&] { return bench.fired().size() == 1; }));
  const Given given = bench.given()[0];
  const Pulse told = bench.fired()[0].actual;
  EXPECT_GE(told.on, bench.clock.of(given.on));
  EXPECT_GE(told.on_time, given.off - given.on);
  EXPECT_LT(given.off - given.on, 30ms) << "its end was fixed before";
}

TEST(PulseThread, GivesPulsesAlsoWhereTheHostRefusesRealTimeAndSaysSo) {
  const WithoutRights limits;
  std::thread([] {
    WithoutRights::become_nobody();
    PulseBench bench;
    const auto refused = [](const rig::Finding& finding) {
      return finding.state == rig::Finding::State::warning;
    };
    EXPECT_GE(std::ranges::count_if(bench.pulses->scheduling(), refused), 2);
    bench.fire({{5ms, 10ms}});
    ASSERT_TRUE(bench.trial_ends());
    EXPECT_THAT(bench.given(), SizeIs(1));
  }).join();
}

TEST(PulseThread, AGateThatCannotBeSwitchedOnCostsThePower) {  // [S64]
  PulseBench bench;
  bench.faults.refuses_on = true;
  bench.fire({{5ms, 10ms}, {100ms, 10ms}});
  bench.expect_power_taken("could not be driven");
  ASSERT_TRUE(bench.trial_ends());
  EXPECT_THAT(bench.given(), IsEmpty());
}

TEST(PulseThread, AGateThatCannotBeSwitchedOffCostsThePowerAndIsTriedAgain) {  // [S64]
  PulseBench bench;
  bench.faults.refuses_off = 20;
  bench.fire({{5ms, 10ms}, {300ms, 10ms}});
  bench.expect_power_taken("could not be switched off");
  EXPECT_TRUE(PulseBench::comes_true([&] { return !bench.gate_is_on(); }));
  lines::kernel_nap(400ms);
  EXPECT_THAT(bench.given(), SizeIs(1));
}

TEST(PulseThread, AGateThatReadsActiveAfterwardsCostsThePower) {  // [S64]
  PulseBench bench;
  bench.faults.reads_active = 3;
  bench.fire({{5ms, 10ms}});
  bench.expect_power_taken("reads active");
}

TEST(PulseThread, AGateThatCannotBeReadCostsThePower) {  // [S64]
  PulseBench bench;
  bench.faults.cannot_be_read = 1;
  bench.fire({{5ms, 10ms}});
  bench.expect_power_taken("reads active");
}

TEST(PulseThread, WhileAGateDoesNotObeyACutSaysSoAndTheHeartbeatGoesOn) {  // [S61] [S64]
  PulseBench bench;
  bench.faults.reads_active = 1'000'000;
  bench.fire({{5ms, 10ms}});
  bench.expect_power_taken("reads active");
  EXPECT_FALSE(bench.pulses->cut());
  const std::uint64_t before = bench.heartbeats();
  EXPECT_TRUE(PulseBench::comes_true([&] { return bench.heartbeats() > before + 5; }));
  bench.faults.reads_active = 0;
  EXPECT_TRUE(PulseBench::comes_true([&] { return bench.pulses->cut(); }));
}

TEST(PulseThread, EndsEvenIfTheGateNeverObeys) {  // [S64] [S69]
  PulseBench bench;
  bench.faults.reads_active = 1'000'000;
  bench.fire({{5ms, 10ms}});
  bench.expect_power_taken("reads active");
  bench.pulses.reset();
  EXPECT_FALSE(bench.gate_is_on());
}

}  // namespace
}  // namespace plexor::run
