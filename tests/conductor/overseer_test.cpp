#include "run/overseer.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>

#include "conductor/fake_warden.hpp"
#include "lines/line_bench.hpp"

namespace plexor::run {
namespace {

using namespace std::chrono_literals;
using lines::KernelInstant;
using safety::Guard;
using safety::InterlockState;
using safety::Reading;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

constexpr base::Duration step = 5ms;
constexpr safety::InterlockSetting with_contact{.contact_counts = true};

/// An overseer between a fake warden and a test, in time of the test's own.
class OverseerBench {
 public:
  explicit OverseerBench(const safety::InterlockSetting& interlock = with_contact)
      : board_(safety::Board::create(lines_.chip() + "-board")),
        overseer({.interlock = interlock, .warden_age = 100ms}, board_, clock_,
                 [this](const rig::LeaveEnded& left) { told.push_back(left); }),
        warden(board_),
        now(clock_.start()) {
    for (const Guard guard : {Guard::coil_cool, Guard::journal, Guard::supply}) {
      overseer.see(guard, Reading::good);
    }
    overseer.see_listeners(true);
  }

  void tick() {
    now += step;
    if (warden_serves) warden.tick(now);
    overseer.tick(now);
  }
  void pass(base::Duration length) {
    for (const KernelInstant end = now + length; now < end;) tick();
  }

  void make_ready() {
    overseer.want_power(true);
    pass(4 * step);
  }
  void arm(std::optional<KernelInstant> leave_ends = {}) {
    make_ready();
    ASSERT_TRUE(overseer.arm(leave_ends)) << overseer.what_stands();
  }
  void begin_trial(std::optional<KernelInstant> leave_ends = {}) {
    arm(leave_ends);
    tap_on();
  }
  void tap_on() {
    const auto begun = overseer.begin_trial();
    ASSERT_TRUE(begun);
    epoch_ = *begun;
    ASSERT_TRUE(permitted());
  }

  /// A pulse of 10 ms; felt 3 ms after its end, or not.
  void give_pulse(bool felt) {
    ASSERT_TRUE(overseer.pulse_begins(now, epoch_));
    pass(10ms);
    overseer.pulse_ends(now);
    if (!felt) return;
    overseer.see_contact(true, now + 3ms);
    overseer.see_contact(false, now + 6ms);
  }

  [[nodiscard]] bool permitted() const { return overseer.permit().allows(epoch_); }
  [[nodiscard]] bool power_is_wanted() const {
    safety::Evidence left;
    board_.read_controller(left);
    return left.power_wanted;
  }
  [[nodiscard]] std::uint64_t heartbeats() const {
    safety::Evidence left;
    board_.read_controller(left);
    return left.heartbeat;
  }

  /// No permit, no power, one word about why, and nothing more whatever is asked.
  void expect_ended(const std::string& reason, bool tripped) {
    EXPECT_FALSE(permitted());
    EXPECT_FALSE(power_is_wanted());
    ASSERT_THAT(told, SizeIs(1));
    EXPECT_EQ(told[0].reason, reason);
    EXPECT_EQ(told[0].tripped, tripped);
    EXPECT_FALSE(overseer.begin_trial());
    overseer.end_trial();
    EXPECT_FALSE(overseer.begin_trial());
    pass(10 * step);
    EXPECT_FALSE(permitted());
    EXPECT_THAT(told, SizeIs(1));
  }

 private:
  lines::VirtualBench lines_;
  safety::Board board_;
  LiveClock clock_;
  std::uint64_t epoch_ = 0;

 public:
  std::vector<rig::LeaveEnded> told;
  Overseer overseer;
  FakeWarden warden;
  KernelInstant now;
  bool warden_serves = true;
};

TEST(Overseer, PermitsWhileATrialIsGivenAndNotBetween) {  // [S60]
  OverseerBench bench;
  bench.arm();
  EXPECT_FALSE(bench.overseer.permit().allows(1));
  bench.tap_on();
  bench.pass(1s);
  EXPECT_TRUE(bench.permitted());
  bench.overseer.end_trial();
  EXPECT_FALSE(bench.permitted());
  EXPECT_THAT(bench.told, IsEmpty());
}

TEST(Overseer, DoesNotArmUntilEachGuardHasBeenSeenGood) {  // [S1] [S5] [S68]
  for (const Guard guard : {Guard::coil_cool, Guard::journal, Guard::supply}) {
    for (const Reading reading : {Reading::bad, Reading::unknown}) {
      OverseerBench bench;
      bench.make_ready();
      bench.overseer.see(guard, reading);
      EXPECT_FALSE(bench.overseer.arm({})) << to_text(guard);
      EXPECT_EQ(bench.overseer.what_stands(), to_text(guard));
      bench.overseer.see(guard, Reading::good);
      EXPECT_TRUE(bench.overseer.arm({})) << to_text(guard);
    }
  }
}

TEST(Overseer, DoesNotArmWithoutAWarden) {  // [S1]
  OverseerBench bench;
  bench.warden_serves = false;
  bench.make_ready();
  EXPECT_FALSE(bench.overseer.arm({}));
  EXPECT_THAT(bench.overseer.what_stands(), HasSubstr("warden"));
}

TEST(Overseer, DoesNotArmWithTheLoopOrLidOpenOrUnread) {  // [S1] [S2]
  for (const std::optional<bool> seen : {std::optional<bool>(false), std::optional<bool>()}) {
    OverseerBench loop;
    loop.warden.seen.loop_closed = seen;
    loop.make_ready();
    EXPECT_FALSE(loop.overseer.arm({}));
    EXPECT_EQ(loop.overseer.what_stands(), "stop loop");
    OverseerBench lid;
    lid.warden.seen.lid_closed = seen;
    lid.make_ready();
    EXPECT_FALSE(lid.overseer.arm({}));
    EXPECT_EQ(lid.overseer.what_stands(), "lid");
  }
}

TEST(Overseer, AnOpenedLoopOrLidTakesThePermitInThatTick) {  // [S3] [S70]
  OverseerBench loop;
  loop.begin_trial();
  loop.warden.seen.loop_closed = false;
  loop.tick();
  loop.expect_ended("tripped: stop loop", true);
  OverseerBench lid;
  lid.begin_trial();
  lid.warden.seen.lid_closed.reset();
  lid.tick();
  lid.expect_ended("tripped: lid", true);
}

TEST(Overseer, ALidThatClosesAgainGivesNothingBack) {  // [S4] [S70]
  OverseerBench bench;
  bench.begin_trial();
  bench.warden.seen.lid_closed = false;
  bench.tick();
  bench.warden.seen.lid_closed = true;
  bench.overseer.acknowledge_warden();
  bench.expect_ended("tripped: lid", true);
  EXPECT_EQ(bench.overseer.state(), InterlockState::tripped);
}

TEST(Overseer, LeaveThatIsTakenBackEndsThePermitAndIsNoTrip) {  // [S75] [S70]
  OverseerBench bench;
  bench.begin_trial();
  bench.overseer.take_leave_back("the arm ticket was taken back");
  bench.expect_ended("the arm ticket was taken back", false);
  EXPECT_NE(bench.overseer.state(), InterlockState::tripped);
}

TEST(Overseer, ASilentWardenTakesThePermitAndIsNamed) {  // [S3] [S70]
  OverseerBench bench;
  bench.begin_trial();
  bench.warden_serves = false;
  bench.pass(100ms);
  EXPECT_TRUE(bench.permitted()) << "no older than it may be";
  bench.tick();
  bench.expect_ended("tripped: warden", true);
}

TEST(Overseer, AWardenThatTrippedTakesThePermit) {  // [S3] [S70]
  OverseerBench bench;
  bench.begin_trial();
  bench.warden.seen.controller_lives = false;
  bench.tick();
  bench.expect_ended("tripped: warden", true);
}

TEST(Overseer, DoesNotArmBesideAWardenWhoseTripNobodyHasCleared) {  // [S25]
  OverseerBench bench;
  bench.make_ready();
  bench.warden.seen.controller_lives = false;
  bench.tick();
  bench.warden.seen.controller_lives = true;
  bench.pass(4 * step);
  EXPECT_FALSE(bench.overseer.arm({}));
  EXPECT_EQ(bench.overseer.what_stands(), "warden");
  bench.overseer.acknowledge_warden();
  bench.pass(4 * step);
  EXPECT_TRUE(bench.overseer.arm({}));
}

TEST(Overseer, AWardenThatGivesNoPowerTakesThePermit) {  // [S3]
  OverseerBench bench;
  bench.begin_trial();
  bench.warden.gives_power = false;
  bench.tick();
  bench.expect_ended("tripped: warden", true);
}

TEST(Overseer, EachOtherGuardTakesThePermitAtOnce) {  // [S3] [S68]
  const std::vector<std::pair<Guard, std::string>> guards{
      {Guard::coil_cool, "tripped: coil too hot"},
      {Guard::journal, "tripped: journal not durable"},
      {Guard::supply, "tripped: supply"}};
  for (const auto& [guard, reason] : guards) {
    OverseerBench bench;
    bench.begin_trial();
    bench.overseer.see(guard, Reading::unknown);
    bench.expect_ended(reason, true);
  }
}

TEST(Overseer, AClockThatGoesBackOrLeapsTakesThePermit) {  // [S3]
  OverseerBench back;
  back.begin_trial();
  back.warden_serves = false;  // it would notice too
  back.now -= 2 * step;
  back.tick();
  back.expect_ended("tripped: clock", true);
  OverseerBench leap;
  leap.begin_trial();
  leap.now += 1s;
  leap.tick();
  leap.expect_ended("tripped: clock", true);
  OverseerBench late;
  late.begin_trial();
  late.now += 1s - step;
  late.tick();
  EXPECT_TRUE(late.permitted());
}

TEST(Overseer, AContactThatNoPulseExplainsTakesThePermitAtOnce) {  // [S10]
  OverseerBench none;
  none.begin_trial();
  none.overseer.see_contact(true, none.now);
  none.expect_ended("tripped: contact without tap", true);

  OverseerBench before;
  before.begin_trial();
  ASSERT_TRUE(before.overseer.pulse_begins(before.now, 1));
  before.overseer.see_contact(true, before.now - 1ns);
  before.expect_ended("tripped: contact without tap", true);

  OverseerBench late;
  late.begin_trial();
  late.give_pulse(false);
  late.overseer.see_contact(true, late.now + 80ms + 1ns);
  late.expect_ended("tripped: contact without tap", true);
}

TEST(Overseer, AContactWithinAPulseOrShortlyAfterIsExplained) {  // [S10]
  OverseerBench bench;
  bench.begin_trial();
  ASSERT_TRUE(bench.overseer.pulse_begins(bench.now, 1));
  bench.overseer.see_contact(true, bench.now);
  bench.overseer.see_contact(false, bench.now);
  bench.pass(10ms);
  bench.overseer.pulse_ends(bench.now);
  bench.overseer.see_contact(true, bench.now + 80ms);
  bench.overseer.see_contact(false, bench.now + 80ms);
  EXPECT_TRUE(bench.permitted());
  bench.pass(1s);
  EXPECT_TRUE(bench.permitted());
}

TEST(Overseer, APlungerThatDoesNotComeHomeTakesThePermit) {  // [S3]
  OverseerBench bench;
  bench.begin_trial();
  bench.give_pulse(false);
  bench.overseer.see_contact(true, bench.now + 1ms);
  bench.pass(80ms);
  EXPECT_TRUE(bench.permitted());
  bench.tick();
  bench.expect_ended("tripped: plunger not home", true);
}

TEST(Overseer, APlungerThatTouchesBeforeItIsArmedWithholdsLeave) {  // [S1]
  OverseerBench bench;
  bench.overseer.see_contact(true, bench.now);
  bench.make_ready();
  EXPECT_FALSE(bench.overseer.arm({}));
  EXPECT_EQ(bench.overseer.what_stands(), "plunger not home");
}

TEST(Overseer, WhereNothingSensesThePlungerItsContactCountsForNothing) {
  OverseerBench bench({.contact_counts = false});
  bench.begin_trial();
  bench.overseer.see_contact(true, bench.now);
  bench.pass(1s);
  EXPECT_TRUE(bench.permitted());
}

TEST(Overseer, ALiftedTapperMustNotTouch) {  // [S12]
  OverseerBench bench({.contact_counts = true, .lifted = true});
  bench.begin_trial();
  bench.give_pulse(true);
  bench.expect_ended("tripped: contact while lifted", true);
}

TEST(Overseer, ThreeTapsInARowWithoutContactTakeThePermit) {  // [S11]
  OverseerBench bench;
  bench.begin_trial();
  for (int tap = 0; tap < 3; ++tap) {
    EXPECT_TRUE(bench.permitted());
    bench.give_pulse(false);
    bench.pass(80ms);
  }
  bench.tick();
  bench.expect_ended("tripped: taps without contact", true);
}

TEST(Overseer, TapsThatFollowFasterThanTheirContactsMayLagAreCountedToo) {  // [S11]
  OverseerBench bench;
  bench.begin_trial();
  for (int tap = 0; tap < 3; ++tap) {
    bench.give_pulse(false);
    bench.pass(50ms);
  }
  EXPECT_FALSE(bench.overseer.pulse_begins(bench.now, 1)) << "the fourth is not given any more";
  bench.expect_ended("tripped: taps without contact", true);
}

TEST(Overseer, ATapThatLandsForgivesThoseBefore) {  // [S11]
  OverseerBench bench;
  bench.begin_trial();
  for (int tap = 0; tap < 20; ++tap) {
    bench.give_pulse(tap % 3 == 2);
    bench.pass(150ms);
    bench.overseer.conductor_lives(bench.now);
  }
  EXPECT_TRUE(bench.permitted());
}

TEST(Overseer, APulseOfAnOlderEpochIsNotBegun) {  // [S8] [S60]
  OverseerBench bench;
  bench.begin_trial();
  EXPECT_FALSE(bench.overseer.pulse_begins(bench.now, 0));
  EXPECT_FALSE(bench.overseer.pulse_begins(bench.now, 2));
  bench.overseer.see_contact(true, bench.now);
  bench.expect_ended("tripped: contact without tap", true);
}

TEST(Overseer, LeaveEndsWithItsTicket) {  // [S66] [S70]
  OverseerBench bench;
  bench.make_ready();
  const KernelInstant end = bench.now + 10 * step;
  bench.begin_trial(end + 4 * step);
  while (bench.now < end + 3 * step) bench.tick();
  EXPECT_TRUE(bench.permitted());
  bench.tick();
  bench.expect_ended("the arm ticket has ended", false);
}

TEST(Overseer, AConductorThatHangsLosesThePermit) {  // [S61]
  OverseerBench bench;
  bench.begin_trial();
  bench.overseer.conductor_lives(bench.now);
  bench.pass(5s);
  EXPECT_TRUE(bench.permitted());
  bench.overseer.conductor_lives(bench.now);
  bench.pass(5s);
  EXPECT_TRUE(bench.permitted());
  bench.tick();
  bench.expect_ended("tripped: journal not durable", true);
}

TEST(Overseer, AListenerThatFallsSilentWithholdsThePermitWithoutLatching) {  // [S9]
  OverseerBench bench;
  bench.begin_trial();
  bench.overseer.see_listeners(false);
  EXPECT_FALSE(bench.permitted());
  bench.tick();
  EXPECT_FALSE(bench.permitted());
  EXPECT_THAT(bench.told, IsEmpty());
  bench.overseer.see_listeners(true);
  EXPECT_TRUE(bench.permitted());
}

TEST(Overseer, TheHeartbeatComesWithItsTicksAndRestsWhileItIsHeld) {  // [S61] [S65]
  OverseerBench bench;
  const std::uint64_t before = bench.heartbeats();
  bench.pass(4 * step);
  EXPECT_EQ(bench.heartbeats(), before + 4);
  bench.overseer.hold_heartbeat(true);
  bench.pass(4 * step);
  EXPECT_EQ(bench.heartbeats(), before + 4);
  bench.overseer.hold_heartbeat(false);
  bench.tick();
  EXPECT_EQ(bench.heartbeats(), before + 5);
}

TEST(Overseer, AGateThatFailedEndsEverythingForThisRun) {  // [S64]
  OverseerBench bench;
  bench.begin_trial();
  bench.overseer.fail("the gate could not be driven");
  bench.overseer.fail("and again");
  bench.expect_ended("the gate could not be driven", true);
  bench.make_ready();
  EXPECT_FALSE(bench.overseer.arm({}));
}

TEST(Overseer, IsDisarmedFromEveryState) {  // [S7]
  const std::vector<std::pair<InterlockState, std::function<void(OverseerBench&)>>> ways{
      {InterlockState::safe, [](OverseerBench&) {}},
      {InterlockState::ready, [](OverseerBench& b) { b.make_ready(); }},
      {InterlockState::armed, [](OverseerBench& b) { b.arm(); }},
      {InterlockState::tapping, [](OverseerBench& b) { b.begin_trial(); }},
      {InterlockState::tripped, [](OverseerBench& b) {
         b.begin_trial();
         b.overseer.see(Guard::supply, Reading::bad);
         b.told.clear();
       }}};
  for (const auto& [state, reach] : ways) {
    OverseerBench bench;
    reach(bench);
    EXPECT_EQ(bench.overseer.state(), state);
    bench.overseer.disarm();
    EXPECT_FALSE(bench.permitted());
    EXPECT_FALSE(bench.power_is_wanted());
    EXPECT_FALSE(bench.overseer.begin_trial());
    bench.pass(10 * step);
    EXPECT_FALSE(bench.permitted());
    EXPECT_THAT(bench.told, IsEmpty()) << "whoever asked for it knows";
  }
}

TEST(Overseer, ArmedAnewItsEpochIsAnother) {  // [S8]
  OverseerBench bench;
  bench.begin_trial();
  bench.overseer.disarm();
  bench.make_ready();
  ASSERT_TRUE(bench.overseer.arm({}));
  ASSERT_TRUE(bench.overseer.begin_trial());
  EXPECT_FALSE(bench.permitted()) << "of pulses planned before";
}

}  // namespace
}  // namespace plexor::run
