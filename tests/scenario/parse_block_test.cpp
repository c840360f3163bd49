#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "scenario_texts.hpp"

namespace plexor::scenario {
namespace {

using namespace base;
using ::testing::AllOf;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::StartsWith;

Block block_with(const std::string& from, const std::string& to) {
  return parsed(head + rhythms + replaced(call_block, from, to)).blocks.at(0);
}

std::string complaint_with(const std::string& from, const std::string& to) {
  return complaint(head + rhythms + replaced(call_block, from, to));
}

Strength strength_of(const std::string& text) {
  return block_with("strike_m_s = 0.9", "strike_m_s = " + text).strength;
}

std::string strength_complaint(const std::string& text) {
  return complaint_with("strike_m_s = 0.9", "strike_m_s = " + text);
}

Block quiet_block(const std::string& keys) {
  return parsed(head + "[[block]]\n" + keys).blocks.at(0);
}

TEST(ParseBlock, ReadsARhythmBlock) {
  const Block block = block_with("rhythm = \"call\"", "rhythm = \"help\"");
  EXPECT_FALSE(block.quiet);
  EXPECT_EQ(block.rhythm, 1U);
  EXPECT_EQ(block.trials, 4U);
  EXPECT_EQ(block.window, 1200ms);
  EXPECT_EQ(block.last_window, 1200ms);
  EXPECT_EQ(block.gap_min, 1500ms);
  EXPECT_EQ(block.gap_max, 2500ms);
}

TEST(ParseBlock, TakesOneNumberForAFixedGap) {
  const Block block = block_with("[1500, 2500]", "1800");
  EXPECT_EQ(block.gap_min, 1800ms);
  EXPECT_EQ(block.gap_max, 1800ms);
}

TEST(ParseBlock, ReadsEachKindOfStrength) {
  EXPECT_EQ(strength_of("0.9").kind, Strength::Kind::fixed);
  EXPECT_THAT(strength_of("0.9").values, ElementsAre(StrikeSpeed{900'000}));
  const Strength spread = strength_of("{ mean = 0.9, cv = 0.10 }");
  EXPECT_EQ(spread.kind, Strength::Kind::spread);
  EXPECT_THAT(spread.values, ElementsAre(StrikeSpeed{900'000}));
  EXPECT_EQ(spread.cv_ppm, 100'000);
  const Strength list = strength_of("[0.3, 0.6]");
  EXPECT_EQ(list.kind, Strength::Kind::list);
  EXPECT_THAT(list.values, ElementsAre(StrikeSpeed{300'000}, StrikeSpeed{600'000}));
  const Strength ramp = strength_of("{ from = 1.2, to = 0.3 }");
  EXPECT_EQ(ramp.kind, Strength::Kind::ramp);
  EXPECT_THAT(ramp.values, ElementsAre(StrikeSpeed{1'200'000}, StrikeSpeed{300'000}));
}

TEST(ParseBlock, RefusesStrengthsThatCannotBeMeant) {
  EXPECT_THAT(strength_complaint("0"),
              AllOf(StartsWith("knock.toml:12:14:"), HasSubstr("number 0")));
  EXPECT_THAT(strength_complaint("-0.9"), HasSubstr("the number -0.9"));
  EXPECT_THAT(strength_complaint("nan"), HasSubstr("the number nan"));
  EXPECT_THAT(strength_complaint("[]"), HasSubstr("an empty list"));
  EXPECT_THAT(strength_complaint("[0.3, 11]"), HasSubstr("the number 11"));
  EXPECT_THAT(strength_complaint("\"hard\""), HasSubstr("the text \"hard\""));
  EXPECT_THAT(strength_complaint("{}"), HasSubstr("neither mean nor from"));
  EXPECT_THAT(strength_complaint("{ mean = 0.9 }"), HasSubstr("block 1.strike_m_s.cv"));
  EXPECT_THAT(strength_complaint("{ from = 0.9 }"), HasSubstr("block 1.strike_m_s.to"));
  EXPECT_THAT(strength_complaint("{ mean = 0.9, cv = 0.1, to = 1 }"),
              HasSubstr("either mean and cv"));
  EXPECT_THAT(strength_complaint("{ from = 0.9, to = 1, cv = 0.1 }"),
              HasSubstr("either mean and cv"));
  EXPECT_THAT(strength_complaint("{ men = 0.9, cv = 0.1 }"), HasSubstr("did you mean \"mean\"?"));
}

TEST(ParseBlock, RefusesASpreadThatCouldReachZero) {
  EXPECT_THAT(strength_complaint("{ mean = 0.9, cv = 0.4 }"),
              AllOf(StartsWith("knock.toml:12:"), HasSubstr("reaches -0.18 m/s at 3 sd")));
  EXPECT_EQ(strength_complaint("{ mean = 0.9, cv = 0.33 }"), "no error");
}

TEST(ParseBlock, RefusesARampOverOneTrial) {
  EXPECT_THAT(complaint(head + rhythms + block_of("call", 1, "{ from = 0.3, to = 0.9 }")),
              AllOf(StartsWith("knock.toml:12:"), HasSubstr("a ramp over one trial")));
}

TEST(ParseBlock, RefusesAGapShorterThanItsWindow) {
  EXPECT_THAT(complaint_with("[1500, 2500]", "[1100, 2500]"),
              AllOf(StartsWith("knock.toml:14:10:"),
                    HasSubstr("a gap of 1100 ms shorter than the window of 1200 ms")));
  EXPECT_EQ(complaint_with("[1500, 2500]", "1200"), "no error");
}

TEST(ParseBlock, RefusesGapsThatAreNoRange) {
  EXPECT_THAT(complaint_with("[1500, 2500]", "[2500, 1500]"), HasSubstr("[2500 ms, 1500 ms]"));
  EXPECT_THAT(complaint_with("[1500, 2500]", "[1, 2, 3]"), HasSubstr("block 1.gap_ms"));
  EXPECT_THAT(complaint_with("[1500, 2500]", "[1500, 2000, 2500]"), HasSubstr("3 numbers"));
  EXPECT_THAT(complaint_with("[1500, 2500]", "-5"), HasSubstr("the number -5"));
}

TEST(ParseBlock, RefusesImpossibleCountsAndTimes) {
  EXPECT_THAT(complaint_with("trials = 4", "trials = 1000000000"),
              AllOf(StartsWith("knock.toml:11:10:"), HasSubstr("1000000000"),
                    HasSubstr("from 1 to 10000000")));
  EXPECT_THAT(complaint_with("trials = 4", "trials = 0"), HasSubstr("the number 0"));
  EXPECT_THAT(complaint_with("trials = 4", "trials = -4"), HasSubstr("the number -4"));
  EXPECT_THAT(complaint_with("trials = 4", "trials = 4.0"), HasSubstr("a whole number"));
  EXPECT_THAT(complaint_with("trials = 4", ""), HasSubstr("no value in \"block 1.trials\""));
  EXPECT_THAT(complaint_with("window_ms = 1200", "window_ms = -1200"), HasSubstr("-1200"));
  EXPECT_THAT(complaint_with("window_ms = 1200", "window_ms = nan"), HasSubstr("nan"));
  EXPECT_THAT(complaint_with("window_ms", "windw_ms"),
              AllOf(StartsWith("knock.toml:13:1:"), HasSubstr("did you mean \"window_ms\"?")));
}

TEST(ParseBlock, RefusesAnUnknownRhythmWithTheNearest) {
  EXPECT_THAT(complaint_with("\"call\"", "\"cal\""),
              AllOf(StartsWith("knock.toml:10:10:"), HasSubstr("the unknown rhythm \"cal\""),
                    HasSubstr("did you mean \"call\"?")));
  EXPECT_THAT(complaint(head + call_block), HasSubstr("add [rhythm.call]"));
}

TEST(ParseBlock, CutsQuietIntoStretchesOfWhichTheLastIsTheRest) {
  const Block block = quiet_block("quiet_s = 1500\n");
  EXPECT_TRUE(block.quiet);
  EXPECT_EQ(block.trials, 3U);
  EXPECT_EQ(block.window, 600s);
  EXPECT_EQ(block.last_window, 300s);
  EXPECT_EQ(block.gap_min, 1500ms);
  EXPECT_EQ(block.gap_max, 1500ms);
}

TEST(ParseBlock, LosesNoQuietWhereItDividesOrFallsShort) {
  const Block even = quiet_block("quiet_s = 1200\nstretch_s = 300\ngap_ms = [2000, 3000]\n");
  EXPECT_EQ(even.trials, 4U);
  EXPECT_EQ(even.last_window, 300s);
  EXPECT_EQ(even.gap_max, 3s);
  const Block shorter = quiet_block("quiet_s = 40.5\n");
  EXPECT_EQ(shorter.trials, 1U);
  EXPECT_EQ(shorter.window, 40500ms);
  EXPECT_EQ(shorter.last_window, 40500ms);
}

TEST(ParseBlock, RefusesAMixtureOfQuietAndRhythm) {
  EXPECT_THAT(complaint(head + rhythms + call_block + "quiet_s = 60\n"),
              AllOf(StartsWith("knock.toml:10:"), HasSubstr("block 1.rhythm"),
                    HasSubstr("in a quiet block")));
  EXPECT_THAT(complaint(head + rhythms + call_block + "stretch_s = 60\n"),
              AllOf(StartsWith("knock.toml:15:"), HasSubstr("block 1.stretch_s")));
  EXPECT_THAT(complaint(head + rhythms + "[[block]]\ntrials = 3\n"),
              HasSubstr("neither rhythm nor quiet_s"));
  EXPECT_THAT(complaint(head + "[[block]]\nquiet_s = -1\n"), HasSubstr("the number -1"));
}

}  // namespace
}  // namespace plexor::scenario
