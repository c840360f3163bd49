#include "safety/warden_duty.hpp"

#include <gtest/gtest.h>

#include <functional>

#include "base/random.hpp"

namespace plexor::safety {
namespace {

using namespace std::chrono_literals;

constexpr WardenLimits limits{.heartbeat_age = 50ms, .longest_pulse = 40ms, .longest_tick = 20ms};

/// A rig on which everything is well, tick by tick.
class Watched {
 public:
  Orders tick(base::Duration step = 2ms, const std::function<void(Evidence&)>& change = {}) {
    evidence_.now += step;
    if (beating) {
      ++evidence_.heartbeat;
      evidence_.heartbeat_at = evidence_.now;
    }
    Evidence seen = evidence_;
    if (change) change(seen);
    return duty.tick(seen);
  }
  Orders run(base::Duration length) {
    Orders orders;
    for (base::Duration done{}; done < length; done += 2ms) orders = tick();
    return orders;
  }

  WardenDuty duty{limits};
  bool beating = true;
  Evidence evidence_{.now = lines::KernelInstant{100s},
                     .loop_closed = true,
                     .lid_closed = true,
                     .coil_on = false,
                     .controller_lives = true,
                     .heartbeat = 0,
                     .heartbeat_at = {},
                     .power_wanted = true,
                     .acknowledged_trips = 0};
};

TEST(WardenDuty, GivesPowerAndFeedsTheWatchdogWhileAllIsWell) {  // [S20]
  Watched rig;
  const Orders orders = rig.run(1s);
  EXPECT_TRUE(orders.enable);
  EXPECT_TRUE(orders.feed_watchdog);
  EXPECT_FALSE(rig.duty.tripped());
}

TEST(WardenDuty, GivesNoPowerThatIsNotWanted) {
  Watched rig;
  rig.evidence_.power_wanted = false;
  EXPECT_FALSE(rig.run(1s).enable);
  EXPECT_FALSE(rig.duty.tripped());
}

struct Fault {
  WardenCause cause;
  std::function<void(Evidence&)> change;
};

const std::vector<Fault>& faults() {
  static const std::vector<Fault> all{
      {WardenCause::stop_loop, [](Evidence& e) { e.loop_closed = false; }},
      {WardenCause::stop_loop, [](Evidence& e) { e.loop_closed.reset(); }},
      {WardenCause::lid, [](Evidence& e) { e.lid_closed = false; }},
      {WardenCause::lid, [](Evidence& e) { e.lid_closed.reset(); }},
      {WardenCause::coil_unsensed, [](Evidence& e) { e.coil_on.reset(); }},
      {WardenCause::controller_gone, [](Evidence& e) { e.controller_lives = false; }},
      {WardenCause::heartbeat_wrong, [](Evidence& e) { e.heartbeat_at = e.now + 1ns; }},
      {WardenCause::heartbeat_wrong, [](Evidence& e) { e.heartbeat -= 2; }},
      {WardenCause::heartbeat_missing, [](Evidence& e) { e.heartbeat_at = e.now - 51ms; }},
  };
  return all;
}

TEST(WardenDuty, EachEvidenceThatFailsTakesThePowerInTheSameTickAndLatches) {  // [S21]
  for (const Fault& fault : faults()) {
    Watched rig;
    (void)rig.run(200ms);
    const Orders orders = rig.tick(2ms, fault.change);
    EXPECT_FALSE(orders.enable) << to_text(fault.cause);
    EXPECT_FALSE(orders.feed_watchdog);
    EXPECT_EQ(rig.duty.tripped(), fault.cause);
    EXPECT_FALSE(rig.run(1s).enable) << "it is well again, but nobody cleared it";
  }
}

TEST(WardenDuty, ASilentControllerLosesPowerWithinTheHeartbeatsAge) {  // [S22]
  Watched rig;
  (void)rig.run(200ms);
  rig.beating = false;
  base::Duration silent{};
  while (rig.tick().enable) silent += 2ms;
  EXPECT_GE(silent, 40ms);
  EXPECT_LE(silent, 52ms);
  EXPECT_EQ(rig.duty.tripped(), WardenCause::heartbeat_missing);
}

TEST(WardenDuty, AStampThatIsKeptFreshBySomethingThatDoesNotCountIsNoHeartbeat) {
  Watched rig;
  (void)rig.run(200ms);
  rig.beating = false;
  Orders orders;
  for (int i = 0; i < 60; ++i) {
    orders = rig.tick(2ms, [](Evidence& e) { e.heartbeat_at = e.now; });
  }
  EXPECT_FALSE(orders.enable);
}

TEST(WardenDuty, APulseThatOutlastsItsLimitTakesThePowerAndAShorterOneDoesNot) {  // [S23]
  Watched rig;
  (void)rig.run(200ms);
  const auto coil_on_for = [&](base::Duration length) {
    rig.evidence_.coil_on = true;
    const Orders last = rig.run(length);
    rig.evidence_.coil_on = false;
    return last.enable;
  };
  EXPECT_TRUE(coil_on_for(40ms));
  EXPECT_TRUE(rig.run(20ms).enable);
  EXPECT_FALSE(coil_on_for(46ms));
  EXPECT_EQ(rig.duty.tripped(), WardenCause::pulse_too_long);
}

TEST(WardenDuty, AWardenThatWasHeldUpDoesNotVouchForTheTimeBetween) {  // [S24]
  Watched rig;
  (void)rig.run(200ms);
  EXPECT_FALSE(rig.tick(21ms).enable);
  EXPECT_EQ(rig.duty.tripped(), WardenCause::late);
  Watched jumping_back;
  (void)jumping_back.run(200ms);
  EXPECT_FALSE(jumping_back.tick(-1ms).enable);
}

TEST(WardenDuty, ATripIsLeftOnlyWhenAPersonClearedThisVeryOne) {  // [S25]
  Watched rig;
  (void)rig.run(200ms);
  (void)rig.tick(2ms, [](Evidence& e) { e.lid_closed = false; });
  EXPECT_EQ(rig.duty.trips(), 1U);
  EXPECT_FALSE(rig.tick(2ms,
                        [](Evidence& e) {
                          e.lid_closed = false;
                          e.acknowledged_trips = 1;
                        })
                   .enable)
      << "not while it stands";
  rig.evidence_.acknowledged_trips = 1;
  EXPECT_TRUE(rig.run(10ms).enable);
  (void)rig.tick(2ms, [](Evidence& e) { e.loop_closed = false; });
  EXPECT_FALSE(rig.run(100ms).enable) << "the acknowledgement was of the trip before";
  EXPECT_EQ(rig.duty.tripped(), WardenCause::stop_loop);
}

TEST(WardenDuty, WhateverItSeesItFeedsTheWatchdogOnlyWithAllEvidenceInTime) {  // [S20] [S21]
  // Random evidence, mostly good: what is fed is held against the requirement itself.
  std::uint32_t draw = 0;
  const auto one_in = [&](std::uint64_t n) {
    return base::uniform_bits({.seed = 7, .trial = draw++, .purpose = base::Purpose::dice}) % n ==
           0;
  };
  std::uint64_t fed = 0;
  for (int run = 0; run < 300; ++run) {
    WardenDuty duty(limits);
    Evidence evidence;
    evidence.now = lines::KernelInstant{1s};
    evidence.power_wanted = true;
    lines::KernelInstant grown_at{};
    lines::KernelInstant last = evidence.now;
    std::uint64_t beats = 0;
    base::Duration on_for{};
    for (int i = 0; i < 400; ++i) {
      evidence.now += one_in(200) ? 25ms : 2ms;
      if (!one_in(5)) {
        evidence.heartbeat = ++beats;
        evidence.heartbeat_at = evidence.now;
        grown_at = evidence.now;
      }
      evidence.loop_closed = one_in(300) ? std::optional<bool>(false) : true;
      evidence.lid_closed = one_in(300) ? std::nullopt : std::optional<bool>(true);
      evidence.coil_on = one_in(300) ? std::nullopt : std::optional<bool>(i % 50 < 10);
      evidence.controller_lives = !one_in(300);
      if (one_in(3)) evidence.acknowledged_trips = duty.trips();
      const bool seen_on = evidence.coil_on.value_or(on_for > 0ms);
      on_for = seen_on ? on_for + (evidence.now - last) : 0ms;
      const Orders orders = duty.tick(evidence);
      ASSERT_EQ(orders.enable, orders.feed_watchdog);
      if (orders.feed_watchdog) {
        ++fed;
        ASSERT_TRUE(evidence.loop_closed == true && evidence.lid_closed == true);
        ASSERT_TRUE(evidence.coil_on.has_value() && evidence.controller_lives);
        ASSERT_LE(evidence.now - grown_at, limits.heartbeat_age);
        ASSERT_LE(evidence.now - last, limits.longest_tick);
        ASSERT_LE(on_for, limits.longest_pulse + 25ms);
        ASSERT_FALSE(duty.tripped());
      }
      last = evidence.now;
    }
  }
  EXPECT_GT(fed, 10'000U);
}

}  // namespace
}  // namespace plexor::safety
