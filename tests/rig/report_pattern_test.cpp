#include "rig/report_pattern.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <stdexcept>

#include "rig/line_text.hpp"

namespace plexor::rig {
namespace {

using namespace std::chrono_literals;
using ::testing::HasSubstr;

const std::string full =
    R"(knock (?P<event>\w*)( at (?P<device_time_ms>\S+))?( with (?P<strength>\S+))?( by (?P<device>\w+))?)";

TEST(ReportPattern, WithoutPatternTheLineIsTheEvent) {
  const auto reading = ReportPattern("").read("call me");
  ASSERT_TRUE(reading);
  EXPECT_EQ(reading->event, "call me");
  EXPECT_FALSE(reading->device_time || reading->strength);
}

TEST(ReportPattern, TakesWhatTheGroupsName) {
  const auto reading = ReportPattern(full).read("[12] knock call at 1234.5 with 0.75 by panel!");
  ASSERT_TRUE(reading);
  EXPECT_EQ(reading->event, "call");
  EXPECT_EQ(reading->device, "panel");
  EXPECT_EQ(reading->device_time, 1234500us);
  EXPECT_EQ(reading->strength, 0.75);
}

TEST(ReportPattern, AGroupThatTookNothingIsNotThere) {
  const auto reading = ReportPattern(full).read("knock help");
  ASSERT_TRUE(reading);
  EXPECT_EQ(reading->event, "help");
  EXPECT_FALSE(reading->device_time || reading->strength);
  EXPECT_EQ(reading->device, "");
}

TEST(ReportPattern, ALineWithoutThePatternOrWithoutANameIsNoReport) {
  EXPECT_FALSE(ReportPattern(full).read("booting"));
  EXPECT_FALSE(ReportPattern(full).read("knock "));
  EXPECT_FALSE(ReportPattern(full).read(""));
}

TEST(ReportPattern, AFigureThatIsNoFiniteNumberIsNotThere) {
  for (const std::string bad : {"nan", "inf", "1e999", "12ms", "0x10", "1e300"}) {
    const auto reading = ReportPattern(full).read("knock call at " + bad);
    ASSERT_TRUE(reading);
    EXPECT_FALSE(reading->device_time) << bad;
  }
  EXPECT_FALSE(ReportPattern(full).read("knock call with nan")->strength);
  EXPECT_EQ(ReportPattern(full).read("knock call with -2e3")->strength, -2000.0);
}

TEST(ReportPattern, CutsALongNameBetweenCharacters) {
  std::string name = "x";
  for (int i = 0; i < 100; ++i) name += "\xC3\xA9";
  const auto reading = ReportPattern("").read(name);
  EXPECT_EQ(reading->event, name.substr(0, 59));
}

TEST(ReportPattern, MatchesCharactersRatherThanBytes) {
  EXPECT_EQ(ReportPattern("^.(?P<event>.)$").read("\xC3\xA9\xC3\xBC")->event, "\xC3\xBC");
}

TEST(LinePattern, GivesAGroupOrNothing) {
  const LinePattern pattern(R"(^panel (?P<version>\S+)$)");
  EXPECT_EQ(pattern.group("panel 1.4.0", "version"), "1.4.0");
  EXPECT_FALSE(pattern.group("door 1.4.0", "version"));
  EXPECT_TRUE(pattern.is_in("panel x"));
  EXPECT_THROW(LinePattern("("), std::logic_error);
}

TEST(LinePattern, NeedsNoGroupWhereNoneIsAskedFor) {
  EXPECT_FALSE(LinePattern::complaint("^boot", "", ""));
  EXPECT_TRUE(LinePattern::complaint("(?P<event>x)", "", ""));
}

TEST(Printable, LeavesTextAlone) {
  for (const std::string text :
       {"call", "", "a\tb", "\xC3\xA9", "\xE2\x82\xAC", "\xF0\x9F\x94\x94"}) {
    EXPECT_EQ(printable(text), text);
  }
}

TEST(Printable, ReplacesWhatIsNoText) {
  const std::string no_text = "\xEF\xBF\xBD";
  EXPECT_EQ(printable(std::string("a\0b", 3)), "a" + no_text + "b");
  EXPECT_EQ(printable("\x1B[2J"), no_text + "[2J");
  EXPECT_EQ(printable("\xC3"), no_text) << "cut off";
  EXPECT_EQ(printable("\xC3("), no_text + "(");
  EXPECT_EQ(printable("\xC0\xAF"), no_text + no_text) << "too long a form";
  EXPECT_EQ(printable("\xED\xA0\x80"), no_text + no_text + no_text) << "half of a pair";
  EXPECT_EQ(printable("\xF4\x90\x80\x80"), no_text + no_text + no_text + no_text)
      << "beyond the last";
  EXPECT_EQ(printable("\xC2\x85"), no_text + no_text) << "a control character of two bytes";
  EXPECT_EQ(printable("\x7F"), no_text);
}

}  // namespace
}  // namespace plexor::rig
