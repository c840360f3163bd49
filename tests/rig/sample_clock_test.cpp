#include "rig/sample_clock.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <random>
#include <vector>

#include "rig/sample_line.hpp"

// Senders and ways that a test makes up: drift, jitter, buffers and losses.

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using base::Duration;
using lines::KernelInstant;

/// A sender of 4000 samples a second, and the way that they come.
struct Way {
  std::int64_t drift_ppm = 0;  ///< positive: the sender's clock is slow
  Duration latency_timer{};    ///< a bridge gives away what it has at the end of each
  Duration jitter{};           ///< of each arrival beside that, up to
  std::uint32_t seed = 1;
};

class SenderOnWay {
 public:
  static constexpr Duration period = 250us;
  explicit SenderOnWay(Way way) : way_(way), dice_(way.seed) {}

  /// Takes the next sample and lets it arrive; lost ones only pass.
  void lose(std::int64_t samples) { number_ += samples; }
  SampleClock::Step send(SampleClock& clock, bool stamps = false, Duration resolution = 1us) {
    taken_ = start_ + period * number_ * (1'000'000 + way_.drift_ppm) / 1'000'000;
    const Duration own = stamp_offset + period * number_;
    ++number_;
    KernelInstant arrived = taken_;
    if (way_.latency_timer > 0ns) {
      const Duration into = (taken_ - start_) % way_.latency_timer;
      arrived += way_.latency_timer - into;
    }
    if (way_.jitter > 0ns) {
      arrived +=
          Duration(std::uniform_int_distribution<std::int64_t>(0, way_.jitter.count())(dice_));
    }
    arrived_ = std::max(arrived_, arrived);
    return stamps ? clock.stamp(own / resolution * resolution, resolution, arrived_)
                  : clock.count(arrived_);
  }
  /// How much later than it was taken the last one is believed to have been taken.
  [[nodiscard]] Duration error(const SampleClock& clock) const { return clock.at() - taken_; }
  [[nodiscard]] KernelInstant arrived() const { return arrived_; }

  Duration stamp_offset = 17s;

 private:
  Way way_;
  std::mt19937 dice_;
  KernelInstant start_{100s};
  KernelInstant taken_;
  KernelInstant arrived_;
  std::int64_t number_ = 0;
};

/// Errors from the first second on, over so long.
struct Errors {
  Duration least = 1h;
  Duration most = -1h;
  int breaks = 0;

  void add(Duration error) {
    least = std::min(least, error);
    most = std::max(most, error);
  }
};

Errors errors_over(SenderOnWay& sender, SampleClock& clock, Duration length, bool stamps = false,
                   Duration resolution = 1us) {
  Errors errors;
  for (std::int64_t i = 0; i < length / SenderOnWay::period; ++i) {
    const SampleClock::Step step = sender.send(clock, stamps, resolution);
    EXPECT_LE(clock.at(), sender.arrived()) << "taken before it came";
    if (i * SenderOnWay::period < 1s) continue;
    errors.breaks += step == SampleClock::Step::next ? 0 : 1;
    errors.add(sender.error(clock));
  }
  return errors;
}

TEST(SampleClock, BuffersAndJitterOnlyDelay) {
  for (std::uint32_t seed = 1; seed <= 10; ++seed) {
    for (const Duration timer : {0ms, 1ms, 16ms, 64ms}) {
      SenderOnWay sender({.latency_timer = timer, .jitter = 400us, .seed = seed});
      SampleClock clock(SenderOnWay::period);
      const Errors errors = errors_over(sender, clock, 6s);
      EXPECT_EQ(errors.breaks, 0);
      EXPECT_GE(errors.least, 0ns);
      EXPECT_LE(errors.most, 700us) << timer.count() << ' ' << seed;
    }
  }
}

TEST(SampleClock, ADriftIsFollowed) {
  for (const std::int64_t drift_ppm : {-200, -50, 50, 200}) {
    for (const bool stamps : {false, true}) {
      SenderOnWay sender({.drift_ppm = drift_ppm, .latency_timer = 16ms, .jitter = 200us});
      SampleClock clock(SenderOnWay::period);
      const Errors errors = errors_over(sender, clock, 60s, stamps);
      EXPECT_EQ(errors.breaks, 0);
      EXPECT_GE(errors.least, -SampleClock::window * 200 / 1'000'000 - 100us) << drift_ppm;
      EXPECT_LE(errors.most, 700us) << drift_ppm;
      EXPECT_LE(-errors.least, clock.uncertainty());
    }
  }
}

TEST(SampleClock, LostSamplesAreNoticedAndWhatFollowsIsInItsPlace) {
  for (const std::int64_t lost : {20, 400, 40'000}) {
    SenderOnWay sender({.latency_timer = 16ms, .jitter = 200us});
    SampleClock clock(SenderOnWay::period);
    (void)errors_over(sender, clock, 3s);
    sender.lose(lost);
    std::int64_t steps = 0;
    while (sender.send(clock) != SampleClock::Step::lost && steps < 40'000) ++steps;
    EXPECT_LE(steps * SenderOnWay::period, 700ms) << lost;
    EXPECT_LE(std::chrono::abs(sender.error(clock)), 600us) << lost;
    const Errors after = errors_over(sender, clock, 3s);
    EXPECT_EQ(after.breaks, 0);
    EXPECT_GE(after.least, -600us);
  }
}

TEST(SampleClock, FewerThanAreNoticedAreMadeUpForSlowly) {
  SenderOnWay sender({.jitter = 200us});
  SampleClock clock(SenderOnWay::period);
  (void)errors_over(sender, clock, 3s);
  sender.lose(5);
  const Errors during = errors_over(sender, clock, 5s);
  EXPECT_EQ(during.breaks, 0);
  EXPECT_LE(-during.least, clock.uncertainty());
  EXPECT_GE(errors_over(sender, clock, 2s).least, -200us);
}

TEST(SampleClock, AReaderThatIsHeldUpLosesNothing) {
  SampleClock clock(1ms);
  KernelInstant taken{10s};
  int breaks = 0;
  for (int i = 0; i < 10'000; ++i) {
    taken += 1ms;
    // Every 3 s what came in 700 ms is read at once.
    const auto since = (taken - KernelInstant{10s}) % 3s;
    const KernelInstant read = since < 700ms ? taken - since + 700ms : taken;
    breaks += clock.count(read) == SampleClock::Step::next ? 0 : 1;
    if (i > 2000) {
      EXPECT_EQ(clock.at(), taken);
    }
  }
  EXPECT_EQ(breaks, 0);
}

TEST(SampleClock, WhatCameFreshShowsThatTheFirstWasLate) {
  SampleClock clock(1ms);
  const KernelInstant taken{10s};
  EXPECT_EQ(clock.stamp(0ms, 1us, taken + 100ms), SampleClock::Step::next);
  EXPECT_EQ(clock.stamp(100ms, 1us, taken + 101ms), SampleClock::Step::settled);
  EXPECT_EQ(clock.at(), taken + 101ms);
}

TEST(SampleClock, StampsInMillisecondsAreSmoothedAndTellWhatIsLost) {
  SenderOnWay sender({.latency_timer = 16ms, .jitter = 200us});
  SampleClock clock(SenderOnWay::period);
  const Errors errors = errors_over(sender, clock, 5s, true, 1ms);
  EXPECT_EQ(errors.breaks, 0);
  EXPECT_GE(errors.least, -500us);
  EXPECT_LE(errors.most, 1000us);
  EXPECT_EQ(clock.uncertainty(), SampleClock(SenderOnWay::period).uncertainty() + 1ms);
  sender.lose(40);
  EXPECT_EQ(sender.send(clock, true, 1ms), SampleClock::Step::lost) << "at once";
  EXPECT_LE(std::chrono::abs(sender.error(clock)), 1200us);
  EXPECT_EQ(errors_over(sender, clock, 3s, true, 1ms).breaks, 0);
}

TEST(SampleClock, StampsThatGoBackwardsBeginAnew) {
  SenderOnWay sender({.jitter = 200us});
  SampleClock clock(SenderOnWay::period);
  (void)errors_over(sender, clock, 3s, true);
  sender.stamp_offset = -3s;
  EXPECT_EQ(sender.send(clock, true), SampleClock::Step::restarted);
  const Errors after = errors_over(sender, clock, 3s, true);
  EXPECT_EQ(after.breaks, 0);
  EXPECT_GE(after.least, 0ns);
  EXPECT_LE(after.most, 400us);
}

TEST(SampleClock, BearsStampsWithoutMeaning) {
  std::mt19937_64 dice(3);
  SampleClock clock(SenderOnWay::period);
  KernelInstant arrived{100s};
  for (int i = 0; i < 100'000; ++i) {
    arrived += 250us;
    (void)clock.stamp(Duration(static_cast<std::int64_t>(dice() % 4'000'000'000'000'000'000U)), 1ns,
                      arrived);
    ASSERT_LE(clock.at(), arrived);
  }
}

TEST(SampleLine, IsAWholeNumberOrATimeAndOne) {
  const auto value = [](std::string_view line) { return read_sample(line, SampleLine::value); };
  EXPECT_EQ(value("2048").value().value, 2048);
  EXPECT_EQ(value(" -12 ").value().value, -12);
  for (const char* bad :
       {"", " ", "12.5", "1e3", "12,5", "2147483648", "boot", "0x10", "1 2", "-"}) {
    EXPECT_FALSE(value(bad)) << bad;
  }
  const auto timed = [](std::string_view line) {
    return read_sample(line, SampleLine::time_and_value);
  };
  EXPECT_EQ(timed("12,2048").value().own, 12ms);
  EXPECT_EQ(timed("12,2048").value().resolution, 1ms);
  EXPECT_EQ(timed("12.250, -7").value().own, 12'250us);
  EXPECT_EQ(timed("12.250, -7").value().resolution, 1us);
  EXPECT_EQ(timed("12.250, -7").value().value, -7);
  EXPECT_EQ(timed("0.1234567899,1").value().own, 123'456ns);
  for (const char* bad :
       {"2048", ",5", "1,", "-1,5", "-0.5,5", "1.2.3,5", "4000000000000,5", "nan,5", "1,2,3"}) {
    EXPECT_FALSE(timed(bad)) << bad;
  }
}

}  // namespace
}  // namespace plexor::rig
