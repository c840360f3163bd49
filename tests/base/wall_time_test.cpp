#include "base/wall_time.hpp"

#include <gtest/gtest.h>

namespace plexor::base {
namespace {

constexpr std::int64_t s = 1'000'000'000;
constexpr std::int64_t evening = 1'780'344'000 * s;  // 2026-06-01 20:00 UTC, by GNU date
constexpr std::int32_t summer = 7200;

TEST(WallTime, CountsNightsFromNoonToNoonOfLocalTime) {
  const auto night_at = [](std::int64_t unix_ns) { return WallTime{unix_ns, summer}.night(); };
  const std::chrono::sys_days night = night_at(evening);
  EXPECT_EQ(night, std::chrono::sys_days{std::chrono::year{2026} / 6 / 1});
  constexpr std::chrono::days one{1};
  EXPECT_EQ(night_at(evening + 13 * 3600 * s), night) << "at 11 in the morning";
  EXPECT_EQ(night_at(evening + 14 * 3600 * s), night + one) << "at noon";
  EXPECT_EQ(night_at(evening - 10 * 3600 * s), night);
  EXPECT_EQ(night_at(evening - 10 * 3600 * s - 1), night - one);
  EXPECT_EQ((WallTime{0, 0}.night()), std::chrono::sys_days{} - one) << "from 1969 to 1970";
}

TEST(WallTime, KnowsItsTimeOfTheLocalDay) {
  EXPECT_EQ((WallTime{evening, summer}.time_of_day()), std::chrono::hours{22});
  EXPECT_EQ((WallTime{evening + 2 * 3600 * s - 1, summer}.time_of_day()),
            std::chrono::seconds{86'399});
  EXPECT_EQ((WallTime{-1, 0}.time_of_day()), std::chrono::seconds{86'399});
}

TEST(WallTime, IsWrittenAsPeopleReadIt) {
  EXPECT_EQ(to_text({evening, summer}), "2026-06-01 22:00:00 +02:00");
  EXPECT_EQ(to_text({evening + 61 * s + 1, -12'600}), "2026-06-01 16:31:01 -03:30");
  EXPECT_EQ(to_text({-1, 0}), "1969-12-31 23:59:59 +00:00");
}

}  // namespace
}  // namespace plexor::base
