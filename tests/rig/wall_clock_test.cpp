#include "rig/wall_clock.hpp"

#include <gtest/gtest.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>

#include "rig/temporary_folder.hpp"

// Unix times by GNU date, as `date -u -d 2026-03-29T01:00:00Z +%s`.

namespace plexor::rig {
namespace {

using base::WallTime;

constexpr std::int64_t s = 1'000'000'000;
/// Summer time began in central Europe on 2026-03-29 at 01:00 UTC (Directive 2000/84/EC).
constexpr std::int64_t summer_began = 1'774'746'000 * s;
constexpr const char* central_europe = "CET-1CEST,M3.5.0,M10.5.0/3";  // as POSIX writes zones
constexpr std::int32_t winter_s = 3600;
constexpr std::int32_t summer_s = 7200;

/// Lives in another zone, and goes home again.
class InZone : public ::testing::Test {
 protected:
  void SetUp() override { live_in(central_europe); }
  void TearDown() override {
    unsetenv("TZ");
    tzset();
  }
  static void live_in(const std::string& zone) { setenv("TZ", zone.c_str(), 1); }
};

using WallClock = InZone;

TEST_F(WallClock, KnowsSummerTime) {
  EXPECT_EQ(utc_offset_at(summer_began - 1), winter_s);
  EXPECT_EQ(utc_offset_at(summer_began), summer_s);
  EXPECT_EQ(utc_offset_at(-1), winter_s) << "before 1970";
}

TEST_F(WallClock, NoticesThatTheZoneWasChangedWhileItRuns) {
  EXPECT_EQ(utc_offset_at(summer_began), summer_s);
  live_in("IST-5:30");
  EXPECT_EQ(utc_offset_at(summer_began), 19'800);
  live_in("NST3:30NDT,M3.2.0,M11.1.0");
  EXPECT_EQ(utc_offset_at(summer_began), -9'000) << "Newfoundland, west and half an hour";
}

TEST_F(WallClock, ReadsTheSystemsZoneFiles) {
  const std::filesystem::path zones{"/usr/share/zoneinfo"};
  if (!exists(zones / "Europe/Berlin")) GTEST_SKIP() << "no zone files here (Debian: tzdata)";
  const auto folder = make_temporary_folder("zones");
  std::filesystem::copy_file(zones / "Europe/Berlin", folder / "localtime");
  live_in(":" + (folder / "localtime").string());
  EXPECT_EQ(utc_offset_at(summer_began - 1), winter_s);
  EXPECT_EQ(utc_offset_at(summer_began), summer_s);
  live_in(":" + (zones / "Asia/Kolkata").string());
  EXPECT_EQ(utc_offset_at(summer_began), 19'800);
  std::filesystem::remove_all(folder);
}

TEST_F(WallClock, ReadsLocalTimes) {
  const WallTime now{summer_began + 9 * 3600 * s, summer_s};  // 12:00 of that day
  const auto noon = local_time_of("2026-03-29 12:00", now, Side::next);
  EXPECT_EQ(noon, now);
  EXPECT_EQ(local_time_of("2026-03-29T12:00:00", now, Side::next), now);
  EXPECT_EQ(local_time_of("2026-03-28 12:00", now, Side::next)->utc_offset_s, winter_s);
  EXPECT_EQ(local_time_of("13:00", now, Side::next)->unix_ns, now.unix_ns + 3600 * s);
  EXPECT_EQ(local_time_of("13:00", now, Side::last)->unix_ns, now.unix_ns - 22 * 3600 * s)
      << "the night was an hour shorter";
  EXPECT_EQ(local_time_of("11:00", now, Side::next)->unix_ns, now.unix_ns + 23 * 3600 * s);
  EXPECT_EQ(local_time_of("12:00", now, Side::last), now);
}

TEST_F(WallClock, ReadsADayAndATimeThatIsTheSameEverywhere) {
  const auto here = date_and_time_of("2026-03-29T03:00:00");
  ASSERT_TRUE(here);
  EXPECT_TRUE(here->is_local);
  EXPECT_EQ(here->time, (WallTime{summer_began, summer_s}));
  for (const char* text :
       {"2026-03-29T01:00:00Z", "2026-03-28T21:30:00-03:30", "2026-03-29 06:30+05:30"}) {
    const auto there = date_and_time_of(text);
    ASSERT_TRUE(there) << text;
    EXPECT_FALSE(there->is_local) << text;
    EXPECT_EQ(there->time.unix_ns, summer_began) << text;
  }
  EXPECT_EQ(date_and_time_of("2026-03-28T21:30:00-03:30")->time.utc_offset_s, -12'600);
}

TEST_F(WallClock, KnowsWhatIsNoTime) {
  const WallTime now{summer_began, summer_s};
  for (const char* text : {"", "7", "24:30", "07:00x", "2026-02-30 07:00", "2026-13-01 07:00",
                           "07:60", "2026-06-12", "9999-01-01 00:00", "yesterday"}) {
    EXPECT_FALSE(local_time_of(text, now, Side::next)) << text;
    EXPECT_FALSE(date_and_time_of(text)) << text;
  }
  for (const char* text :
       {"07:00", "2026-06-12T07:00:00+2", "2026-06-12T07:00:00Zulu", "2026-06-12+02:00"}) {
    EXPECT_FALSE(date_and_time_of(text)) << text;
  }
}

}  // namespace
}  // namespace plexor::rig
