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

std::string with_contacts(const std::string& contacts) {
  return complaint(head + "[rhythm.call]\ncontacts_ms = " + contacts + "\n" + call_block);
}

std::string with_jitter(const std::string& jitter) {
  return complaint(head + rhythms + "[jitter]\n" + jitter + call_block);
}

TEST(ParseRhythm, ReadsContactsAndExpectedEvents) {
  const Scenario scenario =
      parsed(head + rhythms +
             "[rhythm.call-slow]\ncontacts_ms = [0, 380]\nexpects = \"call\"\n"
             "[rhythm.mug-down]\ncontacts_ms = 0\nexpects = \"nothing\"\n" +
             call_block);
  ASSERT_EQ(scenario.rhythms.size(), 4U);
  EXPECT_THAT(scenario.rhythms[0].contacts, ElementsAre(0ms, 190ms));
  EXPECT_EQ(scenario.rhythms[0].expects, "call");
  EXPECT_EQ(scenario.rhythms[2].name, "call-slow");
  EXPECT_EQ(scenario.rhythms[2].expects, "call");
  EXPECT_TRUE(scenario.rhythms[3].is_distractor());
  EXPECT_EQ(scenario.rhythms[3].length(), 0ms);
}

TEST(ParseRhythm, RefusesContactsThatAreNoRhythm) {
  EXPECT_THAT(with_contacts("[]"), AllOf(StartsWith("knock.toml:6:15:"), HasSubstr("empty list")));
  EXPECT_THAT(with_contacts("[10, 190]"), HasSubstr("a first contact at 10 ms"));
  EXPECT_THAT(with_contacts("[0, 190, 150]"),
              HasSubstr("contact 3 at 150 ms after contact 2 at 190 ms"));
  EXPECT_THAT(with_contacts("[0, 190, 190]"), HasSubstr("no two alike"));
  EXPECT_THAT(with_contacts("[0, -190]"), HasSubstr("the number -190"));
  EXPECT_THAT(with_contacts("[0, nan]"), HasSubstr("the number nan"));
  EXPECT_THAT(with_contacts("[0, inf]"), HasSubstr("the number inf"));
  EXPECT_THAT(with_contacts("[0, 1e300]"), HasSubstr("expected a number from 0 to 60000"));
  EXPECT_THAT(with_contacts("[0, \"190\"]"), HasSubstr("the text \"190\""));
  EXPECT_THAT(with_contacts("\"even\""), HasSubstr("the text \"even\""));
}

TEST(ParseRhythm, BoundsTheNumberOfContacts) {
  std::string list = "[0";
  for (int i = 1; i < 64; ++i) list += ", " + std::to_string(i * 100);
  EXPECT_EQ(with_contacts(list + "]"), "no error");
  EXPECT_THAT(with_contacts(list + ", 6400]"), HasSubstr("65 contacts"));
}

TEST(ParseRhythm, BoundsTheNumberOfRhythms) {
  std::string many;
  for (int i = 0; i < 101; ++i) {
    many += "[rhythm.r" + std::to_string(i) + "]\ncontacts_ms = [0]\n";
  }
  EXPECT_THAT(complaint(head + many + call_block), HasSubstr("101 rhythms"));
}

TEST(ParseRhythm, RefusesNamesThatNoDeviceWouldReport) {
  const auto named = [](const std::string& name) {
    return complaint(head + "[rhythm." + name + "]\ncontacts_ms = [0]\n" + call_block);
  };
  EXPECT_THAT(named("Call"), AllOf(StartsWith("knock.toml:5:"), HasSubstr("\"Call\"")));
  EXPECT_THAT(named("\"\""), HasSubstr("the rhythm name \"\""));
  EXPECT_THAT(named("\"a b\""), HasSubstr("a-z, 0-9 and -"));
  EXPECT_THAT(named(std::string(61, 'a')), HasSubstr("1 to 60"));
  EXPECT_THAT(named("nothing"), HasSubstr("a rhythm named \"nothing\""));
}

TEST(ParseRhythm, RefusesAnEventThatNoRhythmHas) {
  EXPECT_THAT(complaint(head + rhythms + "expects = \"hlep\"\n" + call_block),
              AllOf(StartsWith("knock.toml:9:11:"), HasSubstr("the event \"hlep\""),
                    HasSubstr("did you mean \"help\"?")));
  // A distractor's name is no event.
  EXPECT_THAT(
      complaint(head + rhythms +
                "expects = \"mug\"\n[rhythm.mug]\ncontacts_ms = 0\nexpects = \"nothing\"\n" +
                call_block),
      HasSubstr("the event \"mug\""));
}

TEST(ParseRhythm, TakesAnEventThatTwoRhythmsShare) {
  const std::string text = head +
                           "[rhythm.slow]\ncontacts_ms = [0, 300]\nexpects = \"two\"\n"
                           "[rhythm.call]\ncontacts_ms = [0, 150]\nexpects = \"two\"\n" +
                           call_block;
  EXPECT_EQ(parsed(text).rhythms[1].expects, "two");
}

TEST(ParseRhythm, SuggestsTheNearestKey) {
  EXPECT_THAT(complaint(head + rhythms + "expect = \"help\"\n" + call_block),
              AllOf(StartsWith("knock.toml:9:1:"), HasSubstr("did you mean \"expects\"?")));
}

TEST(ParseJitter, ReadsEachModel) {
  const auto jitter = [](const std::string& text) {
    return parsed(head + rhythms + "[jitter]\n" + text + call_block).jitter;
  };
  EXPECT_EQ(jitter("model = \"none\"\n").model, Jitter::Model::none);
  EXPECT_EQ(jitter("model = \"uniform\"\nspread_ms = 12.5\n").spread, 12500us);
  EXPECT_EQ(jitter("model = \"normal\"\nsd_ms = 7\n").sd, 7ms);
  const Jitter human = jitter("model = \"human\"\ntempo_cv = 0.06\nmotor_sd_ms = 8\n");
  EXPECT_EQ(human.model, Jitter::Model::human);
  EXPECT_EQ(human.tempo_cv_ppm, 60000);
  EXPECT_EQ(human.motor_sd, 8ms);
}

TEST(ParseJitter, RefusesKeysOfOtherModels) {
  EXPECT_THAT(with_jitter("model = \"normal\"\nsd_ms = 7\nspread_ms = 3\n"),
              AllOf(StartsWith("knock.toml:12:13:"), HasSubstr("\"jitter.spread_ms\""),
                    HasSubstr("model \"normal\"")));
  EXPECT_THAT(with_jitter("model = \"none\"\ntempo_cv = 0.1\n"), HasSubstr("\"jitter.tempo_cv\""));
  EXPECT_THAT(with_jitter("model = \"none\"\nmotor_sd_ms = 1\n"), HasSubstr("jitter.motor_sd_ms"));
  EXPECT_THAT(with_jitter("model = \"uniform\"\nspread_ms = 1\nsd_ms = 1\n"),
              HasSubstr("jitter.sd_ms"));
}

TEST(ParseJitter, RefusesMissingUnknownAndImpossibleValues) {
  EXPECT_THAT(with_jitter("model = \"human\"\ntempo_cv = 0.06\n"),
              HasSubstr("no value in \"jitter.motor_sd_ms\""));
  EXPECT_THAT(with_jitter("model = \"humane\"\n"), HasSubstr("none, uniform, normal, human"));
  EXPECT_THAT(with_jitter("sd_ms = 3\n"), HasSubstr("no value in \"jitter.model\""));
  EXPECT_THAT(with_jitter("model = \"normal\"\nsd_ms = -3\n"), HasSubstr("the number -3"));
  EXPECT_THAT(with_jitter("model = \"normal\"\nsdms = 3\n"), HasSubstr("did you mean \"sd_ms\"?"));
}

TEST(ParseJitter, RefusesWhatCouldPutContactsOutOfOrder) {
  // Rhythm `help`: 160 ms apart; the second and later contacts move at both ends.
  EXPECT_THAT(with_jitter("model = \"uniform\"\nspread_ms = 80\n"),
              AllOf(StartsWith("knock.toml:11:13:"), HasSubstr("contact 3 of rhythm \"help\""),
                    HasSubstr("160 ms could shrink to 0 ms")));
  EXPECT_EQ(with_jitter("model = \"uniform\"\nspread_ms = 79.9\n"), "no error");
  EXPECT_THAT(with_jitter("model = \"normal\"\nsd_ms = 30\n"), HasSubstr("could shrink to -20 ms"));
  EXPECT_EQ(with_jitter("model = \"normal\"\nsd_ms = 26\n"), "no error");
  // 160 - 3 * 0.1 * 160 - 6 * 20 = -8
  EXPECT_THAT(with_jitter("model = \"human\"\ntempo_cv = 0.1\nmotor_sd_ms = 20\n"),
              AllOf(StartsWith("knock.toml:12:"), HasSubstr("could shrink to -8 ms")));
  EXPECT_EQ(with_jitter("model = \"human\"\ntempo_cv = 0.1\nmotor_sd_ms = 18\n"), "no error");
}

}  // namespace
}  // namespace plexor::scenario
