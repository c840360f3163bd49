#include "run/clock_watch.hpp"

#include <gtest/gtest.h>

namespace plexor::run {
namespace {

using namespace std::chrono_literals;

constexpr std::int64_t ten_in_the_evening = 1'780'344'000'000'000'000;
constexpr std::int32_t summer = 7200;

/// What clocks say so long after the segment's begin, if they are `off` from what they said then.
rig::ClockSeen clock_after(base::Duration length, base::Duration off = {},
                           std::int32_t zone = summer) {
  return {base::segment_start + length, ten_in_the_evening + (length + off).count(), zone};
}

ClockWatch watch() { return ClockWatch(clock_after(0s)); }

TEST(ClockWatch, SaysNothingWhileTheClockGoes) {
  ClockWatch clock = watch();
  for (int hour = 0; hour < 1000; ++hour) EXPECT_FALSE(clock.see(clock_after(hour * 1h)));
}

TEST(ClockWatch, TellsThatTheClockWasSetForwardsAndBack) {
  ClockWatch clock = watch();
  EXPECT_FALSE(clock.see(clock_after(1h, 1s))) << "not yet";
  EXPECT_EQ(clock.see(clock_after(1h, 1s + 1ns)), clock_after(1h, 1s + 1ns));
  EXPECT_FALSE(clock.see(clock_after(2h, 1500ms))) << "against what was told last";
  EXPECT_EQ(clock.see(clock_after(3h, -40min)), clock_after(3h, -40min));
  EXPECT_FALSE(clock.see(clock_after(4h, -40min)));
}

TEST(ClockWatch, TellsSummerTimeThoughTheClockGoesOn) {
  ClockWatch clock = watch();
  EXPECT_EQ(clock.see(clock_after(5h, 0s, 3600)), clock_after(5h, 0s, 3600));
  EXPECT_FALSE(clock.see(clock_after(6h, 0s, 3600)));
}

TEST(ClockWatch, TellsManySmallCorrectionsOnceTheyAreASecond) {
  ClockWatch clock = watch();
  int told = 0;
  for (int minute = 1; minute <= 600; ++minute) {
    told += clock.see(clock_after(minute * 1min, minute * 10ms)) ? 1 : 0;  // 6 s in all
  }
  EXPECT_EQ(told, 5);
}

}  // namespace
}  // namespace plexor::run
