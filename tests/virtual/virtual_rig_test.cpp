#include "virtual/virtual_rig.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "base/error.hpp"
#include "workshop.hpp"

namespace plexor::virtual_rig {
namespace {

using ::testing::IsEmpty;
using ::testing::SizeIs;

constexpr base::Instant run_start = base::segment_start;

/// Calls and kilns in turn, one every 3 s, with disturbances and two devices.
Simulation busy_simulation() {
  Simulation simulation = workshop_simulation();
  simulation.tapper.pick_up_mv = 2.0;
  simulation.tapper.click_share = 0.01;
  simulation.sensor->disturbances = {
      {.name = "mug put down",
       .per_hour = 200,
       .strength_cv = 0.3,
       .cause = Blow{0.012, 1500us, {0.9, 0.2}},
       .bumps = 2,
       .shortest_gap = 100ms,
       .longest_gap = 300ms},
      {.name = "footstep", .per_hour = 100, .strength_cv = 0.3, .cause = Tremor{4.0, 25.0, 60ms}}};
  simulation.devices.push_back(simulation.devices.front());
  std::get<FirmwareSettings>(simulation.devices.back()).sensitivity = 0.2;
  std::get<FirmwareSettings>(simulation.devices.back()).lockout = 20ms;
  std::get<FirmwareSettings>(simulation.devices.back()).link = RadioLink{30ms, 102400us};
  std::get<FirmwareSettings>(simulation.devices.back()).outages = {.resets_per_hour = 60,
                                                                   .boot = 2s};
  return simulation;
}

/// Runs `trials` trials, waiting in steps of at most `step`.
std::string run_text(const Simulation& simulation, std::uint64_t seed, int trials,
                     base::Duration step) {
  const rig::RigFile rig = workshop_rig();
  VirtualRig virtual_rig(rig, simulation, seed, false);
  std::string text;
  for (int i = 1; i <= trials; ++i) {
    const base::Instant first = run_start + i * 3s;
    const std::vector<base::Duration> call{0ms, 190ms};
    const std::vector<base::Duration> kiln{0ms, 180ms, 360ms};
    virtual_rig.fire(pulses_for(rig, first, i % 2 == 0 ? kiln : call, 0.7 + 0.1 * (i % 5)));
    while (virtual_rig.now() < first + 2s) {
      const base::Instant until = std::min(virtual_rig.now() + step, first + 2s);
      text += to_text(observe_all(virtual_rig, until));
    }
  }
  return text;
}

std::uint64_t fnv_1a(const std::string& text) {
  std::uint64_t hash = 1469598103934665603U;
  for (const char c : text) hash = (hash ^ static_cast<unsigned char>(c)) * 1099511628211U;
  return hash;
}

TEST(VirtualRig, SameSeedGivesTheSameObservationsAndAnotherDoesNot) {
  const std::string once = run_text(busy_simulation(), 1, 20, 10s);
  EXPECT_EQ(run_text(busy_simulation(), 1, 20, 10s), once);
  EXPECT_NE(run_text(busy_simulation(), 2, 20, 10s), once);
}

TEST(VirtualRig, ObservesTheSameInBigAndSmallSteps) {
  const std::string big = run_text(busy_simulation(), 3, 12, 10s);
  EXPECT_EQ(run_text(busy_simulation(), 3, 12, 7ms), big);
  EXPECT_EQ(run_text(busy_simulation(), 3, 12, 333333ns), big);
}

TEST(VirtualRig, GivesTheSameObservationsOnEveryBuild) {
  // Golden: a change here means that recorded virtual runs can't be repeated.
  EXPECT_EQ(fnv_1a(run_text(busy_simulation(), 20260611, 60, 10s)), 11959273832701488178U);
}

TEST(VirtualRig, ObservationsComeInTimeOrderAndTheClockStandsAtEach) {
  const rig::RigFile rig = workshop_rig();
  VirtualRig virtual_rig(rig, busy_simulation(), 1, false);
  virtual_rig.fire(pulses_for(rig, run_start + 1s, {0ms, 180ms, 360ms}));
  base::Instant last = run_start;
  while (const auto one = virtual_rig.observe_until(run_start + 10s)) {
    EXPECT_GE(rig::instant_of(*one), last);
    EXPECT_EQ(virtual_rig.now(), rig::instant_of(*one));
    last = virtual_rig.now();
  }
  EXPECT_EQ(virtual_rig.now(), run_start + 10s);
  EXPECT_FALSE(
      virtual_rig.observe_until(run_start));  // a deadline in the past does not turn time back
  EXPECT_EQ(virtual_rig.now(), run_start + 10s);
}

TEST(VirtualRig, ReportsEachPulseAndEachContact) {
  const rig::RigFile rig = workshop_rig();
  VirtualRig virtual_rig(rig, workshop_simulation(), 1, false);
  const auto pulses = pulses_for(rig, run_start + 1s, {0ms, 190ms});
  virtual_rig.fire(pulses);
  const auto all = observe_all(virtual_rig, run_start + 3s);
  const auto fired = only<rig::PulseFired>(all);
  ASSERT_THAT(fired, SizeIs(2));
  EXPECT_EQ(fired[1].tap, 1U);
  EXPECT_EQ(fired[1].actual, pulses[1]);
  const auto contacts = only<rig::ContactSensed>(all);
  ASSERT_THAT(contacts, SizeIs(2));
  EXPECT_LT(std::chrono::abs(contacts[1].at - (run_start + 1190ms)), 1ms);
}

TEST(VirtualRig, WithoutATipSwitchNoContactIsSensedButKnocksAreHeard) {
  rig::RigFile rig = workshop_rig();
  rig.contact.kind = rig::ContactKind::none;
  VirtualRig virtual_rig(rig, workshop_simulation(), 1, false);
  virtual_rig.fire(pulses_for(rig, run_start + 1s, {0ms, 190ms}));
  const auto all = observe_all(virtual_rig, run_start + 3s);
  EXPECT_THAT(only<rig::ContactSensed>(all), IsEmpty());
  EXPECT_THAT(only<base::Event>(all), SizeIs(1));
}

std::vector<rig::Observation> lifted_call(double pick_up_mv, double click_share) {
  const rig::RigFile rig = workshop_rig();
  Simulation simulation = workshop_simulation();
  simulation.tapper.pick_up_mv = pick_up_mv;
  simulation.tapper.click_share = click_share;
  VirtualRig virtual_rig(rig, simulation, 1, true);
  virtual_rig.fire(pulses_for(rig, run_start + 1s, {0ms, 190ms}));
  return observe_all(virtual_rig, run_start + 3s);
}

TEST(LiftedRun, MakesNoContactAndOnlyAStrongPickUpOrAClickIsHeard) {
  const auto quiet = lifted_call(2.0, 0.002);
  EXPECT_THAT(only<rig::PulseFired>(quiet), SizeIs(2));
  EXPECT_THAT(only<rig::ContactSensed>(quiet), IsEmpty());
  EXPECT_THAT(only<base::Event>(quiet), IsEmpty());
  for (const auto& loud : {lifted_call(80.0, 0.0), lifted_call(0.0, 0.3)}) {
    EXPECT_THAT(only<rig::ContactSensed>(loud), IsEmpty());
    EXPECT_THAT(only<base::Event>(loud), SizeIs(1));
  }
}

TEST(Truth, TellsWhatHappenedInTimeOrder) {
  const rig::RigFile rig = workshop_rig();
  std::vector<Truth> told;
  VirtualRig virtual_rig(rig, busy_simulation(), 1, false,
                         [&](const Truth& truth) { told.push_back(truth); });
  virtual_rig.fire(pulses_for(rig, run_start + 1s, {0ms, 190ms}));
  const auto contacts = only<rig::ContactSensed>(observe_all(virtual_rig, run_start + 5min));
  std::vector<Truth> touched;
  std::size_t clicks = 0;
  std::size_t disturbances = 0;
  base::Instant last = run_start;
  for (const Truth& truth : told) {
    EXPECT_GE(truth.at, last);
    last = truth.at;
    if (truth.kind == Truth::Kind::contact) touched.push_back(truth);
    if (truth.kind == Truth::Kind::click) ++clicks;
    if (truth.kind == Truth::Kind::disturbance) ++disturbances;
  }
  ASSERT_THAT(touched, SizeIs(contacts.size()));
  for (std::size_t i = 0; i < touched.size(); ++i) {
    EXPECT_EQ(touched[i].at, contacts[i].at);
    EXPECT_EQ(touched[i].tap, i);
    EXPECT_NEAR(touched[i].speed_m_s, 0.9, 0.05);
    EXPECT_GT(touched[i].peak_force_n, 50.0);
  }
  EXPECT_EQ(clicks, 2U);
  EXPECT_GT(disturbances, 15U);
}

TEST(VirtualRig, TellsOfDisturbancesThatAreMarkedAndOfNoOthers) {
  Simulation simulation = busy_simulation();
  simulation.sensor->disturbances[0].marked_tail = 2s;  // mugs, put down in two bumps
  std::vector<base::Instant> bumps;
  VirtualRig rig(workshop_rig(), simulation, 1, false, [&](const Truth& truth) {
    if (truth.kind == Truth::Kind::disturbance && truth.name == "mug put down") {
      bumps.push_back(truth.at);
    }
  });
  const auto sensed = only<rig::DisturbanceSensed>(observe_all(rig, run_start + 10min));
  ASSERT_GT(bumps.size(), 20U);
  EXPECT_LE(sensed.size(), bumps.size() / 2) << "one for both bumps";
  base::Instant told_until = run_start;
  for (const rig::DisturbanceSensed& one : sensed) {
    EXPECT_EQ(one.name, "mug put down");
    EXPECT_GT(one.from, told_until) << "none overlaps the one before";
    EXPECT_EQ(one.at, one.to);
    told_until = one.to;
  }
  for (const base::Instant bump : bumps) {
    if (bump + 2s > run_start + 10min) continue;  // not faded yet
    EXPECT_TRUE(std::any_of(sensed.begin(), sensed.end(), [&](const auto& one) {
      return one.from <= bump && bump + 2s <= one.to;
    })) << base::to_s(bump.time_since_epoch());
  }
}

TEST(VirtualRig, RefusesPulsesThatItCannotGive) {
  VirtualRig rig(workshop_rig(), workshop_simulation(), 1, false);
  EXPECT_FALSE(rig.observe_until(run_start + 1s));
  const auto refused = [&](std::vector<base::Pulse> pulses) {
    EXPECT_THROW(rig.fire(pulses), base::RigFault);
  };
  refused({{run_start + 900ms, 10ms}});                           // past
  refused({{run_start + 2s, 10ms}, {run_start + 2005ms, 10ms}});  // overlap
  refused({{run_start + 3s, 10ms}, {run_start + 2s, 10ms}});      // order
  refused({{run_start + 2s, 0ms}});                               // empty
  EXPECT_THAT(observe_all(rig, run_start + 4s), IsEmpty());       // nothing was queued by the way
  rig.fire(std::vector<base::Pulse>{{run_start + 5s, 10ms}});
  refused({{run_start + 6s, 10ms}});  // pending
  EXPECT_THAT(only<rig::PulseFired>(observe_all(rig, run_start + 5500ms)), SizeIs(1));
  EXPECT_NO_THROW(rig.fire(std::vector<base::Pulse>{{run_start + 6s, 10ms}}));
}

TEST(VirtualRig, MakeSafeCutsTheRunningPulseAndDropsTheRest) {
  const rig::RigFile rig = workshop_rig();
  VirtualRig virtual_rig(rig, workshop_simulation(), 1, false);
  virtual_rig.fire(std::vector<base::Pulse>{{run_start + 1s, 10ms}, {run_start + 2s, 10ms}});
  EXPECT_FALSE(virtual_rig.observe_until(run_start + 1002ms));
  virtual_rig.make_safe();
  const auto all = observe_all(virtual_rig, run_start + 4s);
  const auto fired = only<rig::PulseFired>(all);
  ASSERT_THAT(fired, SizeIs(1));
  EXPECT_EQ(fired[0].actual.on_time, 2ms);
  EXPECT_THAT(only<rig::ContactSensed>(all), IsEmpty());  // 2 ms do not carry the plunger across
  EXPECT_NO_THROW(virtual_rig.fire(std::vector<base::Pulse>{{run_start + 5s, 10ms}}));
}

TEST(VirtualRig, MakeSafeAtTheInstantOfAContactDoesNotRepeatIt) {
  Simulation simulation = workshop_simulation();
  simulation.tapper.transit_sd = 0ms;
  VirtualRig virtual_rig(workshop_rig(), simulation, 1, false);
  virtual_rig.fire(
      std::vector<base::Pulse>{{run_start + 1s, 14ms}});  // still on when the tip touches
  const auto contact = virtual_rig.observe_until(run_start + 2s);
  ASSERT_TRUE(contact && std::holds_alternative<rig::ContactSensed>(*contact));
  virtual_rig.make_safe();
  const auto rest = observe_all(virtual_rig, run_start + 3s);
  for (const auto& later : only<rig::ContactSensed>(rest)) {  // the plunger may bounce
    EXPECT_GT(later.at, rig::instant_of(*contact) + 1ms);
  }
  EXPECT_THAT(only<rig::PulseFired>(rest), SizeIs(1));
}

TEST(VirtualRig, MakeSafeCannotCallBackAPlungerOnItsWay) {
  VirtualRig virtual_rig(workshop_rig(), workshop_simulation(), 1, false);
  virtual_rig.fire(std::vector<base::Pulse>{{run_start + 1s, 10ms}});
  EXPECT_TRUE(virtual_rig.observe_until(run_start + 1012ms));  // the pulse has ended
  virtual_rig.make_safe();
  virtual_rig.make_safe();
  EXPECT_THAT(only<rig::ContactSensed>(observe_all(virtual_rig, run_start + 2s)), SizeIs(1));
}

TEST(VirtualRig, QuietWithoutDisturbancesIsQuiet) {
  // 12 LSB are 6 sd of this noise: one flag in some 20 h, and two within a call's window never.
  VirtualRig rig(workshop_rig(), workshop_simulation(), 1, false);
  EXPECT_THAT(observe_all(rig, run_start + 5min), IsEmpty());
}

TEST(VirtualRig, DisturbancesAreHeard) {
  VirtualRig rig(workshop_rig(), busy_simulation(), 1, false);
  const auto alarms = only<base::Event>(observe_all(rig, run_start + 5min));
  EXPECT_GT(alarms.size(), 5U);  // 17 mugs to expect, most of their gaps inside the call's window
  EXPECT_LT(alarms.size(), 50U);
}

/// All that the channel streams, whatever the pieces. Fails where one does not follow the other.
std::vector<std::int32_t> streamed(base::Duration step) {
  rig::RigFile rig = workshop_rig();
  rig.channels = {{.name = "converter", .device = 0, .rate_hz = 8000, .highest = 4095}};
  VirtualRig virtual_rig(rig, workshop_simulation(), 5, false);
  virtual_rig.fire(pulses_for(rig, run_start + 1s, {0ms, 190ms}, 0.9));
  std::vector<std::int32_t> values;
  while (virtual_rig.now() < run_start + 2s) {
    const auto heard = observe_all(virtual_rig, std::min(virtual_rig.now() + step, run_start + 2s));
    for (const auto& samples : only<rig::SamplesHeard>(heard)) {
      EXPECT_EQ(samples.first, run_start + static_cast<std::int64_t>(values.size()) * 125us);
      values.insert(values.end(), samples.values.begin(), samples.values.end());
    }
  }
  return values;
}

TEST(VirtualRig, AChannelStreamsWhatTheConverterSees) {
  const auto values = streamed(2s);
  ASSERT_GT(values.size(), 15'900U);
  const auto [low, high] = std::minmax_element(values.begin(), values.begin() + 7900);
  EXPECT_GT(*low, 2048 - 20) << "quiet before the knock";
  EXPECT_LT(*high, 2048 + 20);
  const auto [lowest, highest] = std::minmax_element(values.begin() + 7900, values.end());
  EXPECT_GT(*highest - *lowest, 300) << "then the knocks";
}

TEST(VirtualRig, AChannelStreamsTheSameInBigAndSmallSteps) {
  EXPECT_EQ(streamed(2s), streamed(7ms));
}

}  // namespace
}  // namespace plexor::virtual_rig
