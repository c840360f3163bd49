#include "run/observation_queue.hpp"

#include <gtest/gtest.h>

#include <thread>

#include "run/live_clock.hpp"

namespace plexor::run {
namespace {

using namespace std::chrono_literals;
using base::Instant;
using base::segment_start;

/// Stands still unless it is told.
class HandClock final : public rig::Clock {
 public:
  [[nodiscard]] Instant now() const override { return now_; }
  void set(Instant now) { now_ = now; }

 private:
  std::atomic<Instant> now_{segment_start};
};

rig::ContactSensed contact(base::Duration after_start) { return {segment_start + after_start}; }

base::Duration instant(const std::optional<rig::Observation>& observation) {
  return observation ? instant_of(*observation) - segment_start : base::Duration{-1};
}

TEST(ObservationQueue, HandsOutInTheOrderOfInstants) {
  HandClock clock;
  ObservationQueue queue(clock);
  for (const auto at : {30ms, 10ms, 20ms}) queue.push(contact(at));
  clock.set(segment_start + 1s);
  for (const auto at : {10ms, 20ms, 30ms}) {
    EXPECT_EQ(instant(queue.take_until(segment_start + 500ms)), at);
  }
  EXPECT_FALSE(queue.take_until(segment_start + 500ms));
}

TEST(ObservationQueue, KeepsTheOrderOfEqualInstants) {
  HandClock clock;
  ObservationQueue queue(clock);
  for (const std::uint32_t device : {3U, 1U, 2U}) {
    queue.push(rig::ListenerChanged{device, true, segment_start + 10ms});
  }
  clock.set(segment_start + 1s);
  for (const std::uint32_t device : {3U, 1U, 2U}) {
    const auto observation = queue.take_until(segment_start + 500ms);
    ASSERT_TRUE(observation);
    EXPECT_EQ(std::get<rig::ListenerChanged>(*observation).device, device);
  }
}

TEST(ObservationQueue, KeepsWhatLiesBeyondTheDeadlineForLater) {
  HandClock clock;
  ObservationQueue queue(clock);
  queue.push(contact(100ms + 1ns));
  clock.set(segment_start + 1s);
  EXPECT_FALSE(queue.take_until(segment_start + 100ms));
  EXPECT_EQ(instant(queue.take_until(segment_start + 100ms + 1ns)), 100ms + 1ns);
}

TEST(ObservationQueue, WaitsUntilWhatItHasHasSettled) {
  HandClock clock;
  ObservationQueue queue(clock);
  queue.push(contact(20ms));
  clock.set(segment_start + 20ms + ObservationQueue::settling - 1ns);
  std::atomic<bool> taken = false;
  std::thread taker([&] {
    EXPECT_EQ(instant(queue.take_until(segment_start + 1s)), 10ms);
    taken = true;
  });
  lines::kernel_nap(20ms);
  EXPECT_FALSE(taken) << "one more may come before it";
  queue.push(contact(10ms));  // and comes: held up, but older
  taker.join();
  clock.set(segment_start + 20ms + ObservationQueue::settling);
  EXPECT_EQ(instant(queue.take_until(segment_start + 1s)), 20ms);
}

TEST(ObservationQueue, WhatComesTooLateComesOutOfOrderButComes) {
  HandClock clock;
  ObservationQueue queue(clock);
  clock.set(segment_start + 1s);
  queue.push(contact(500ms));
  EXPECT_EQ(instant(queue.take_until(segment_start + 900ms)), 500ms);
  queue.push(contact(100ms));
  EXPECT_EQ(instant(queue.take_until(segment_start + 900ms)), 100ms);
}

TEST(ObservationQueue, TheDeadlineHasComeWhenNothingIsHandedOut) {
  const LiveClock clock;
  ObservationQueue queue(clock);
  const Instant deadline = clock.now() + 30ms;
  EXPECT_FALSE(queue.take_until(deadline));
  EXPECT_GE(clock.now(), deadline);
}

TEST(ObservationQueue, SamplesThatNobodyTakesAreDroppedAndNothingElse) {
  HandClock clock;
  ObservationQueue queue(clock);
  const rig::SamplesHeard samples{0, segment_start, 1ms, std::vector<std::int32_t>(1'000'000)};
  for (int i = 0; i < 5; ++i) queue.push(samples);
  queue.push(contact(10ms));
  clock.set(segment_start + 1h);
  int taken = 0;
  while (const auto observation = queue.take_until(segment_start + 30min)) {
    taken += std::holds_alternative<rig::SamplesHeard>(*observation) ? 1 : 100;
  }
  EXPECT_EQ(taken, 103);
  queue.push(samples);
  EXPECT_TRUE(queue.take_until(segment_start + 30min)) << "there is room again";
}

TEST(ObservationQueue, IsWokenByWhatIsPushedWhileItWaits) {
  const LiveClock clock;
  ObservationQueue queue(clock);
  std::thread pusher([&] {
    lines::kernel_nap(20ms);
    queue.push(rig::ContactSensed{clock.now()});
  });
  EXPECT_TRUE(queue.take_until(clock.now() + 30s));
  pusher.join();
}

}  // namespace
}  // namespace plexor::run
