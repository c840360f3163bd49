#include "base/calendar.hpp"

#include <gtest/gtest.h>

namespace plexor::base {
namespace {

using namespace std::chrono_literals;

TEST(Calendar, ReadsADayAndTheDayOfAMoment) {
  EXPECT_EQ(day_of("2026-05-18"), std::chrono::sys_days{2026y / 5 / 18});
  EXPECT_EQ(day_of("2026-05-18T19:30:00Z"), day_of("2026-05-18"));
  EXPECT_EQ(*day_of("2024-03-01") - *day_of("2024-02-28"), std::chrono::days{2}) << "a leap year";
}

TEST(Calendar, KnowsWhatIsNoDay) {
  for (const char* text : {"", "2026-5-18", "2026-02-29", "2026-13-01", "2026-00-10", "2026-05-00",
                           "1969-12-31", "20260518xx", "-026-05-18", "2026-+5-18", "2026 05 18"}) {
    EXPECT_FALSE(day_of(text)) << text;
  }
}

}  // namespace
}  // namespace plexor::base
