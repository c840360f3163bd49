#include "virtual/device_life.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "workshop.hpp"

namespace plexor::virtual_rig {
namespace {

using ::testing::IsEmpty;
using ::testing::SizeIs;

constexpr base::Instant begin = base::segment_start;

TEST(DeviceLife, HangsAtItsTimeUntilItsPowerWasAway) {
  DeviceLife life({.hangs_at = {10s, 4s}, .boot = 2s});
  EXPECT_TRUE(life.works());
  EXPECT_EQ(life.next(), begin + 4s);
  life.change();
  EXPECT_FALSE(life.works());
  EXPECT_EQ(life.next(), base::Instant::max()) << "it does not come back by itself";
  life.set_power(true, begin + 5s);
  EXPECT_EQ(life.next(), base::Instant::max()) << "the power was there all the time";
  life.set_power(false, begin + 6s);
  EXPECT_EQ(life.next(), base::Instant::max());
  life.set_power(true, begin + 7s);
  EXPECT_FALSE(life.works()) << "it boots";
  EXPECT_EQ(life.next(), begin + 9s);
  life.change();
  EXPECT_TRUE(life.works());
  EXPECT_EQ(life.next(), begin + 10s) << "and hangs again";
}

TEST(DeviceLife, WhatWouldHangItWhileItIsOffIsPast) {
  DeviceLife life({.hangs_at = {4s}, .boot = 2s});
  life.set_power(false, begin + 1s);
  life.set_power(true, begin + 3s);
  life.change();
  EXPECT_TRUE(life.works());
  EXPECT_EQ(life.next(), base::Instant::max());
}

/// A call each second up to `end`, power away from 10 to 12 s.
std::vector<base::Event> heard(Simulation simulation, const LifeSettings& life, base::Duration step,
                               bool cycled = true) {
  simulation.lives = {life};
  const rig::RigFile rig = workshop_rig();
  VirtualRig virtual_rig(rig, simulation, 3, false);
  std::vector<base::Event> events;
  for (int second = 1; second <= 20; ++second) {
    const base::Instant next = begin + std::chrono::seconds{second};
    virtual_rig.fire(pulses_for(rig, next, {0ms, 190ms}));
    for (base::Instant until = virtual_rig.now(); until < next + 900ms; until += step) {
      for (const auto& event : only<base::Event>(observe_all(virtual_rig, until))) {
        events.push_back(event);
      }
    }
    if (cycled && second == 10) virtual_rig.set_power(0, false);
    if (cycled && second == 12) virtual_rig.set_power(0, true);
  }
  return events;
}

std::vector<base::Event> between(const std::vector<base::Event>& events, base::Duration from,
                                 base::Duration to) {
  std::vector<base::Event> some;
  for (const base::Event& event : events) {
    if (event.arrival >= begin + from && event.arrival < begin + to) some.push_back(event);
  }
  return some;
}

TEST(DeviceLife, AVirtualDeviceThatHangsReportsNothingUntilItsPowerWasCycled) {
  for (const Simulation& simulation : {workshop_simulation(), dice_simulation(sure_dice())}) {
    const auto events = heard(simulation, {.hangs_at = {5500ms}, .boot = 1500ms}, 50ms);
    EXPECT_THAT(between(events, 1s, 5s), SizeIs(4));
    EXPECT_THAT(between(events, 6500ms, 14s), IsEmpty()) << "off until 12.9 s, up at 14.4 s";
    EXPECT_THAT(between(events, 15s, 21s), SizeIs(6));
  }
}

TEST(DeviceLife, AVirtualDeviceThatNobodyRestartsHangsToTheEnd) {
  const auto events = heard(workshop_simulation(), {.hangs_at = {5500ms}}, 50ms, false);
  EXPECT_THAT(between(events, 6500ms, 30s), IsEmpty());
}

TEST(DeviceLife, ADeviceRaisesNoFalseAlarmWhileItHangs) {
  DiceSettings dice = sure_dice();
  dice.false_alarms_per_hour = 600;
  Simulation simulation = dice_simulation(dice);
  simulation.lives = {{.hangs_at = {60s}}};
  VirtualRig virtual_rig(workshop_rig(), simulation, 3, false);
  EXPECT_FALSE(only<base::Event>(observe_all(virtual_rig, begin + 60s)).empty());
  EXPECT_THAT(only<base::Event>(observe_all(virtual_rig, begin + 600s)), IsEmpty());
}

TEST(DeviceLife, IsTheSameHoweverTheWaitingIsCut) {
  const LifeSettings life{.hangs_at = {5500ms, 17'777ms}, .boot = 1500ms};
  EXPECT_EQ(heard(workshop_simulation(), life, 50ms), heard(workshop_simulation(), life, 7ms));
}

}  // namespace
}  // namespace plexor::virtual_rig
