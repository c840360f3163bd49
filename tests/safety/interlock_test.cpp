#include "safety/interlock.hpp"

#include <gtest/gtest.h>

#include <cstdio>
#include <deque>
#include <functional>
#include <unordered_set>
#include <vector>

namespace plexor::safety {
namespace {

Interlock with_all_guards(const InterlockSetting& setting = {.contact_counts = true}) {
  Interlock interlock(setting);
  for (const Guard guard : all_guards) interlock.see(guard, Reading::good);
  interlock.see_listeners(true);
  return interlock;
}

Interlock tapping(const InterlockSetting& setting = {.contact_counts = true}) {
  Interlock interlock = with_all_guards(setting);
  EXPECT_TRUE(interlock.arm());
  EXPECT_TRUE(interlock.begin_trial());
  EXPECT_TRUE(interlock.permits(interlock.epoch()));
  return interlock;
}

TEST(Interlock, WhatWasNeverSeenGoodKeepsItSafe) {  // [S1] [S2]
  for (const Guard unseen : all_guards) {
    Interlock interlock({});
    for (const Guard guard : all_guards) {
      if (guard != unseen) interlock.see(guard, Reading::good);
    }
    EXPECT_EQ(interlock.state(), InterlockState::safe) << to_text(unseen);
    EXPECT_FALSE(interlock.arm());
    interlock.see(unseen, Reading::good);
    EXPECT_TRUE(interlock.arm()) << to_text(unseen);
  }
}

TEST(Interlock, EachGuardTripsInOneStepAndIsNamed) {  // [S3] [S4]
  for (const Guard guard : all_guards) {
    for (const Reading reading : {Reading::bad, Reading::unknown}) {
      Interlock interlock = tapping();
      const std::uint64_t epoch = interlock.epoch();
      interlock.see(guard, reading);
      EXPECT_FALSE(interlock.permits(epoch)) << to_text(guard);
      EXPECT_EQ(interlock.state(), InterlockState::tripped);
      EXPECT_EQ(to_text(interlock.cause().value()), to_text(guard));
    }
  }
}

TEST(Interlock, ATripIsLeftByTwoDeliberateActsOnly) {  // [S5] [S6]
  Interlock interlock = tapping();
  interlock.see(Guard::lid, Reading::bad);
  EXPECT_FALSE(interlock.clear());  // it still stands open
  interlock.see(Guard::lid, Reading::good);
  EXPECT_EQ(interlock.state(), InterlockState::tripped);  // closing the lid restarts nothing
  EXPECT_FALSE(interlock.arm());
  EXPECT_FALSE(interlock.begin_trial());
  EXPECT_TRUE(interlock.clear());
  EXPECT_EQ(interlock.state(), InterlockState::ready);
  EXPECT_FALSE(interlock.cause());
  EXPECT_FALSE(interlock.begin_trial());
  EXPECT_TRUE(interlock.arm());
}

TEST(Interlock, PulsesOfAnEarlierArmingAreStale) {  // [S8]
  Interlock interlock = tapping();
  const std::uint64_t old = interlock.epoch();
  interlock.disarm();  // [S7]
  EXPECT_FALSE(interlock.permits(old));
  EXPECT_TRUE(interlock.arm());
  EXPECT_TRUE(interlock.begin_trial());
  EXPECT_FALSE(interlock.permits(old));
  EXPECT_TRUE(interlock.permits(interlock.epoch()));
}

TEST(Interlock, ADeviceThatIsNotHeardWithholdsThePermitAndLatchesNothing) {  // [S9]
  Interlock interlock = tapping();
  interlock.see_listeners(false);
  EXPECT_FALSE(interlock.permits(interlock.epoch()));
  EXPECT_EQ(interlock.state(), InterlockState::tapping);
  interlock.see_listeners(true);
  EXPECT_TRUE(interlock.permits(interlock.epoch()));
}

TEST(Interlock, AContactThatNoPulseExplainsTrips) {  // [S10]
  Interlock interlock = tapping();
  interlock.see_contact(true);
  EXPECT_TRUE(interlock.permits(interlock.epoch()));
  interlock.see_contact(false);
  EXPECT_EQ(interlock.cause(), Cause::contact_without_tap);
}

TEST(Interlock, OneMissedTapDoesNotTripSeveralInARowDo) {  // [S11]
  Interlock interlock = tapping();
  interlock.see_tap(false);
  interlock.see_tap(false);
  interlock.see_tap(true);
  interlock.see_tap(false);
  interlock.see_tap(false);
  EXPECT_EQ(interlock.state(), InterlockState::tapping);
  interlock.see_tap(false);
  EXPECT_EQ(interlock.cause(), Cause::taps_without_contact);
}

TEST(Interlock, ALiftedTapperMustNotTouchAnything) {  // [S12]
  Interlock interlock = tapping({.contact_counts = true, .lifted = true});
  for (int i = 0; i < 10; ++i) interlock.see_tap(false);
  EXPECT_EQ(interlock.state(), InterlockState::tapping);
  interlock.see_contact(true);
  EXPECT_EQ(interlock.cause(), Cause::contact_while_lifted);
}

TEST(Interlock, ASurfacePickUpHearsEveryMugAndTripsNothing) {
  Interlock interlock = tapping({.contact_counts = false});
  interlock.see_contact(false);
  for (int i = 0; i < 10; ++i) interlock.see_tap(false);
  EXPECT_EQ(interlock.state(), InterlockState::tapping);
}

// ----- The whole state space

/// A step of the machine, and what it is.
struct Step {
  bool deliberate_arm = false;
  bool deliberate_clear = false;
  std::function<void(Interlock&)> act;
};

std::vector<Step> all_steps() {
  std::vector<Step> steps;
  for (const Guard guard : all_guards) {
    for (const Reading reading : {Reading::unknown, Reading::bad, Reading::good}) {
      steps.push_back({false, false, [=](Interlock& i) { i.see(guard, reading); }});
    }
  }
  for (const bool yes : {false, true}) {
    steps.push_back({false, false, [=](Interlock& i) { i.see_listeners(yes); }});
    steps.push_back({false, false, [=](Interlock& i) { i.see_contact(yes); }});
    steps.push_back({false, false, [=](Interlock& i) { i.see_tap(yes); }});
  }
  steps.push_back({true, false, [](Interlock& i) { (void)i.arm(); }});
  steps.push_back({false, true, [](Interlock& i) { (void)i.clear(); }});
  steps.push_back({false, false, [](Interlock& i) { (void)i.begin_trial(); }});
  steps.push_back({false, false, [](Interlock& i) { i.end_trial(); }});
  steps.push_back({false, false, [](Interlock& i) { i.disarm(); }});
  return steps;
}

/// Everything that later behaviour depends on, but the count of the epoch.
std::uint64_t key_of(const Interlock& interlock) {
  std::uint64_t key = static_cast<std::uint64_t>(interlock.state());
  for (const Guard guard : all_guards) {
    key = key * 3 + static_cast<std::uint64_t>(interlock.reading(guard));
  }
  key = key * 16 + interlock.misses();
  const auto cause = interlock.cause();
  key = key * 16 + (cause ? static_cast<std::uint64_t>(*cause) + 1 : 0);
  // Whether listeners are heard shows only where a permit could be given; keep it apart by asking
  // a copy that is brought there.
  Interlock copy = interlock;
  for (const Guard guard : all_guards) copy.see(guard, Reading::good);
  copy.disarm();
  (void)copy.clear();
  (void)copy.arm();
  (void)copy.begin_trial();
  return key * 2 + (copy.permits(copy.epoch()) ? 1 : 0);
}

bool moves(InterlockState state) {
  return state == InterlockState::armed || state == InterlockState::tapping;
}

void check_state(const Interlock& interlock) {
  const bool permitted = interlock.permits(interlock.epoch());
  if (permitted) {
    ASSERT_TRUE(interlock.guards_hold());
    ASSERT_FALSE(interlock.cause());
    ASSERT_EQ(interlock.state(), InterlockState::tapping);
  }
  // While it may move, every guard holds; a cause is latched exactly while tripped.
  if (moves(interlock.state()) || interlock.state() == InterlockState::ready) {
    ASSERT_TRUE(interlock.guards_hold());
  }
  ASSERT_EQ(interlock.cause().has_value(), interlock.state() == InterlockState::tripped);
  ASSERT_LT(interlock.misses(), 3);
}

void check_step(const Interlock& before, const Step& step, const Interlock& after) {
  ASSERT_GE(after.epoch(), before.epoch());
  ASSERT_LE(after.epoch(), before.epoch() + 1);
  // Only the deliberate act arms; only the deliberate act leaves a trip, and leads to ready.
  if (moves(after.state()) && !moves(before.state())) {
    ASSERT_TRUE(step.deliberate_arm);
  }
  if (before.state() == InterlockState::tripped && after.state() != InterlockState::tripped) {
    ASSERT_TRUE(step.deliberate_clear);
    ASSERT_EQ(after.state(), InterlockState::ready);
    ASSERT_TRUE(after.guards_hold());
  }
  // A trip, a stop and an arming make what was queued before them stale.
  if (moves(before.state()) != moves(after.state())) {
    ASSERT_FALSE(after.permits(before.epoch()));
  }
  // A guard that does not hold takes the permit in the same step.
  if (!after.guards_hold()) {
    ASSERT_FALSE(after.permits(after.epoch()));
  }
}

std::size_t explore(const InterlockSetting& setting) {
  const std::vector<Step> steps = all_steps();
  std::unordered_set<std::uint64_t> seen;
  std::deque<Interlock> frontier{Interlock(setting)};
  seen.insert(key_of(frontier.front()));
  while (!frontier.empty() && !testing::Test::HasFatalFailure()) {
    const Interlock here = frontier.front();
    frontier.pop_front();
    check_state(here);
    for (const Step& step : steps) {
      Interlock next = here;
      step.act(next);
      check_step(here, step, next);
      if (seen.insert(key_of(next)).second) frontier.push_back(next);
    }
  }
  return seen.size();
}

TEST(InterlockStateSpace, NeverPermitsWhileACauseStands) {  // [S3] to [S8], all of them
  const std::size_t felt = explore({.contact_counts = true});
  const std::size_t lifted = explore({.contact_counts = true, .lifted = true});
  const std::size_t unfelt = explore({.contact_counts = false});
  std::printf("states reached: %zu with contact, %zu lifted, %zu without contact\n", felt, lifted,
              unfelt);
  // 6,560 ways not to hold, and more: far from a machine that never left its beginning.
  EXPECT_GT(felt, 100'000U);
  EXPECT_GT(lifted, 50'000U);
  EXPECT_GT(unfelt, 50'000U);
}

}  // namespace
}  // namespace plexor::safety
