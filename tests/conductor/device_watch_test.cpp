#include "run/device_watch.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace plexor::run {
namespace {

using namespace std::chrono_literals;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

/// One device that hangs after 3 misses or 60 s, is off for 3 s, boots for 5, and is
/// restarted at most twice an hour.
rig::Device watched_panel() {
  rig::Device panel{.name = "panel", .version = "1"};
  panel.recovery =
      rig::RecoverySettings{.silent_after_misses = 3,
                            .silent_after = 60s,
                            .power = rig::PowerCycling{.off = 3s, .boot = 5s, .most_per_hour = 2}};
  return panel;
}

class Watching {
 public:
  explicit Watching(std::vector<rig::Device> devices = {watched_panel()})
      : devices_(std::move(devices)), watch(devices_) {}

  /// Trials in a row, all devices answering each like that.
  void trials(int count, base::Outcome outcome) {
    for (int i = 0; i < count; ++i) {
      judge::Settled settled;
      settled.trial.expects = "call";
      for (std::size_t device = 0; device < devices_.size(); ++device) {
        settled.answers.emplace_back().outcome = outcome;
      }
      if (outcome == base::Outcome::hit) watch.heard(0);
      watch.answered(settled);
    }
  }
  void misses(int count) { trials(count, base::Outcome::miss); }
  void hits(int count) { trials(count, base::Outcome::hit); }

  /// "0 off at 12 s", "0 on at 15 s": what it orders, looking each second.
  std::vector<std::string> orders_until(base::Duration end) {
    std::vector<std::string> orders;
    for (; now_ <= end; now_ += 1s) {
      while (const auto order = watch.next_order(base::segment_start + now_)) {
        orders.push_back(std::to_string(order->device) + (order->on ? " on" : " off") + " at " +
                         std::to_string(now_ / 1s) + " s");
        reasons.push_back(order->reason);
      }
    }
    return orders;
  }

 private:
  std::vector<rig::Device> devices_;
  base::Duration now_{};

 public:
  DeviceWatch watch;
  std::vector<std::string> reasons;
};

TEST(DeviceWatch, RestartsADeviceThatHasAnsweredAndThenLeavesRhythmsUnanswered) {
  Watching w;
  w.hits(1);
  w.misses(2);
  EXPECT_THAT(w.orders_until(10s), IsEmpty());
  w.misses(1);
  EXPECT_THAT(w.orders_until(30s), ElementsAre("0 off at 11 s", "0 on at 14 s"));
  EXPECT_EQ(w.reasons.front(), "3 rhythms in a row unanswered");
}

TEST(DeviceWatch, TellsUntilWhenTheDeviceIsAway) {
  Watching w;
  w.hits(1);
  w.misses(3);
  EXPECT_FALSE(w.watch.busy_until());
  ASSERT_TRUE(w.watch.next_order(base::segment_start));
  EXPECT_EQ(w.watch.busy_until(), base::segment_start + 3s);
  EXPECT_THAT(w.watch.without_power(), ElementsAre(0U));
  EXPECT_THAT(w.watch.note(), HasSubstr("panel hangs and is being restarted"));
  ASSERT_TRUE(w.watch.next_order(base::segment_start + 3s));
  EXPECT_EQ(w.watch.busy_until(), base::segment_start + 8s);
  EXPECT_THAT(w.watch.without_power(), IsEmpty()) << "it boots";
  EXPECT_FALSE(w.watch.next_order(base::segment_start + 8s));
  EXPECT_FALSE(w.watch.busy_until());
  EXPECT_EQ(w.watch.note(), "");
}

TEST(DeviceWatch, TakesNoDeviceForHungThatNeverAnswered) {
  Watching w;
  w.misses(50);
  EXPECT_THAT(w.orders_until(60s), IsEmpty());
}

TEST(DeviceWatch, CountsRhythmsInARowAlone) {
  Watching w;
  w.hits(1);
  for (int i = 0; i < 10; ++i) {
    w.misses(2);
    w.hits(1);
  }
  EXPECT_THAT(w.orders_until(10s), IsEmpty());
  w.misses(2);
  w.watch.heard(0);  // an alarm shows that it lives
  w.misses(2);
  EXPECT_THAT(w.orders_until(20s), IsEmpty());
}

TEST(DeviceWatch, LearnsNothingFromVoidTrialsAndFromThoseThatExpectNothing) {
  Watching w;
  w.hits(1);
  judge::Settled settled;
  settled.answers.emplace_back().outcome = base::Outcome::miss;
  for (int i = 0; i < 10; ++i) w.watch.answered(settled);
  settled.trial.expects = "call";
  settled.void_reason = base::VoidReason::no_contact;
  for (int i = 0; i < 10; ++i) w.watch.answered(settled);
  EXPECT_THAT(w.orders_until(10s), IsEmpty());
}

TEST(DeviceWatch, RestartsADeviceThatALeastOneListenerHasNotHeardForSoLong) {
  Watching w;
  w.watch.listener_changed({0, false, base::segment_start + 10s});
  w.watch.listener_changed({0, false, base::segment_start + 40s});  // the same once more
  EXPECT_THAT(w.orders_until(90s), ElementsAre("0 off at 70 s", "0 on at 73 s"));
  EXPECT_EQ(w.reasons.front(), "not heard for 60 s");
}

TEST(DeviceWatch, LeavesADeviceAloneThatIsHeardAgainInTime) {
  Watching w;
  w.watch.listener_changed({0, false, base::segment_start + 10s});
  EXPECT_THAT(w.orders_until(50s), IsEmpty());
  w.watch.listener_changed({0, true, base::segment_start + 50s});
  EXPECT_THAT(w.orders_until(200s), IsEmpty());
}

TEST(DeviceWatch, CountsTheTimeOfAListenerAnewAfterARestart) {
  Watching w;
  w.watch.listener_changed({0, false, base::segment_start});
  EXPECT_THAT(w.orders_until(127s), ElementsAre("0 off at 60 s", "0 on at 63 s"));
  EXPECT_THAT(w.orders_until(140s), ElementsAre("0 off at 128 s", "0 on at 131 s"))
      << "60 s after it should have started, at 68 s";
}

TEST(DeviceWatch, RestartsNoMoreOftenThanAllowedInAnHour) {
  Watching w;
  w.watch.listener_changed({0, false, base::segment_start});
  EXPECT_THAT(w.orders_until(59min), testing::SizeIs(4)) << "two restarts";
  EXPECT_THAT(w.watch.note(), HasSubstr("panel hangs, restarted 2 times within the hour"));
  EXPECT_THAT(w.orders_until(62min), ElementsAre("0 off at 3660 s", "0 on at 3663 s"))
      << "an hour after the first";
}

TEST(DeviceWatch, OnlySaysWhatNobodyCanRestart) {
  rig::Device panel = watched_panel();
  panel.recovery->power.reset();
  Watching w({panel});
  w.hits(1);
  w.misses(3);
  EXPECT_THAT(w.orders_until(60s), IsEmpty());
  EXPECT_EQ(w.watch.note(), "panel hangs");
  w.hits(1);
  EXPECT_THAT(w.orders_until(61s), IsEmpty());
  EXPECT_EQ(w.watch.note(), "");
}

TEST(DeviceWatch, WatchesEachDeviceByItself) {
  Watching w({rig::Device{.name = "door", .version = "1"}, watched_panel()});
  w.watch.heard(1);
  w.misses(5);
  EXPECT_THAT(w.orders_until(20s), ElementsAre("1 off at 0 s", "1 on at 3 s"))
      << "the door has no [device.recovery]";
}

}  // namespace
}  // namespace plexor::run
