#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "scenario_texts.hpp"

namespace plexor::scenario {
namespace {

using namespace base;
using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::StartsWith;

const std::string whole = head + rhythms + call_block;

TEST(ParseScenario, ReadsAllKeysOfItsTable) {
  const Scenario scenario = parsed(
      "format = 1\n[scenario]\nname = \"Nacht, große Platte\"\npurpose = \"soak\"\nseed = "
      "9223372036854775807\n"
      "order = \"in-order\"\npulse_tolerance_ms = 0.5\nincident_window_ms = 3000\n" +
      rhythms + call_block);
  EXPECT_EQ(scenario.name, "Nacht, große Platte");
  EXPECT_EQ(scenario.purpose, ScenarioPurpose::soak);
  EXPECT_EQ(scenario.seed, 0x7fffffffffffffffU);
  EXPECT_EQ(scenario.order, BlockOrder::in_order);
  EXPECT_EQ(scenario.pulse_tolerance, 500us);
  EXPECT_EQ(scenario.incident_window, 3s);
}

TEST(ParseScenario, HasDefaultsForWhatIsLeftOut) {
  const Scenario scenario = parsed(whole);
  EXPECT_EQ(scenario.order, BlockOrder::interleaved);
  EXPECT_EQ(scenario.pulse_tolerance, 2ms);
  EXPECT_EQ(scenario.incident_window, 2s);
  EXPECT_EQ(scenario.jitter.model, Jitter::Model::none);
  EXPECT_FALSE(scenario.reference);
  EXPECT_FALSE(scenario.accept.detection_rate);
  EXPECT_EQ(scenario.accept.max_void_fraction, 0.05);
}

TEST(ParseScenario, RefusesANewerFormatBeforeAllElse) {
  EXPECT_THAT(
      complaint("format = 2\nhue = 3\n[sky]\n"),
      AllOf(StartsWith("knock.toml:1:10: found format 2"), HasSubstr("use a newer plexor")));
  EXPECT_THAT(complaint("format = 0\n"), StartsWith("knock.toml:1:10: found the number 0"));
}

TEST(ParseScenario, NamesBrokenTomlWithItsPlace) {
  EXPECT_THAT(complaint("[scenario]\nname = \n"), StartsWith("knock.toml:2"));
  EXPECT_THAT(complaint(whole + "[scenario]\n"), StartsWith("knock.toml:15"));
  EXPECT_THAT(complaint(""), HasSubstr("found no value in \"scenario\""));
}

TEST(ParseScenario, NamesAMisspeltTableInsteadOfAMissingOne) {
  EXPECT_THAT(complaint(replaced(whole, "[[block]]", "[[blok]]")),
              AllOf(StartsWith("knock.toml:9:"), HasSubstr("\"blok\""),
                    HasSubstr("did you mean \"block\"?")));
  EXPECT_THAT(complaint(whole + "[jiter]\n"), HasSubstr("did you mean \"jitter\"?"));
  EXPECT_THAT(complaint(whole + "[acept]\n"), HasSubstr("did you mean \"accept\"?"));
  EXPECT_THAT(complaint(whole + "[refrence]\n"), HasSubstr("did you mean \"reference\"?"));
}

TEST(ParseScenario, RefusesWrongValuesOfItsTable) {
  const auto with = [](const std::string& from, const std::string& to) {
    return complaint(replaced(whole, from, to));
  };
  EXPECT_THAT(with("seed = 7", "seed = -7"), AllOf(StartsWith("knock.toml:4:8:"), HasSubstr("-7")));
  EXPECT_THAT(with("seed = 7", "seed = 7.5"), AllOf(StartsWith("knock.toml:4:"), HasSubstr("7.5")));
  EXPECT_THAT(with("seed = 7", ""), HasSubstr("found no value in \"scenario.seed\""));
  EXPECT_THAT(with("seed = 7", "seed = 9223372036854775808"), StartsWith("knock.toml:4:"));
  EXPECT_THAT(with("seed = 7", "sed = 7"), HasSubstr("did you mean \"seed\"?"));
  EXPECT_THAT(with("regression", "regresion"),
              AllOf(StartsWith("knock.toml:3:11:"), HasSubstr("regression, surface, soak")));
  EXPECT_THAT(with("seed = 7", "seed = 7\norder = \"random\""),
              AllOf(StartsWith("knock.toml:5:9:"), HasSubstr("interleaved, in-order")));
  EXPECT_THAT(with("seed = 7", "seed = 7\npulse_tolerance_ms = nan"), StartsWith("knock.toml:5:"));
  EXPECT_THAT(with("seed = 7", "seed = 7\nincident_window_ms = -1"), HasSubstr("number -1"));
}

TEST(ParseScenario, RefusesNamesThatCouldBreakAPage) {
  const auto named = [](const std::string& name) {
    return complaint(replaced(whole, "\"release check\"", name));
  };
  EXPECT_THAT(named("\"\""), AllOf(StartsWith("knock.toml:2:8:"), HasSubstr("0 characters")));
  EXPECT_THAT(named('"' + std::string(61, 'x') + '"'), HasSubstr("61 characters"));
  EXPECT_EQ(named('"' + std::string(60, 'x') + '"'), "no error");
  EXPECT_THAT(named("\"a\\tb\""), HasSubstr("a control character"));
  EXPECT_THAT(named("\"a\\u0085b\""), HasSubstr("a control character"));
  EXPECT_THAT(named("\"a\\\"b\""), HasSubstr("a quote"));
  EXPECT_THAT(named("\"it's\""), HasSubstr("a quote"));
  EXPECT_THAT(named("3"), HasSubstr("found the number 3"));
}

TEST(ParseScenario, RefusesMoreThanItCanHold) {
  std::string blocks;
  for (int i = 0; i < 1001; ++i) blocks += call_block;
  EXPECT_THAT(complaint(head + rhythms + blocks), HasSubstr("found 1001 blocks"));
  EXPECT_THAT(complaint(head + rhythms), HasSubstr("found 0 blocks"));
  EXPECT_THAT(complaint(head + rhythms + block_of("call", 6'000'000) + block_of("help", 6'000'000)),
              AllOf(StartsWith("knock.toml:17:"), HasSubstr("12000000 trials up to this block")));
  EXPECT_THAT(complaint(head + rhythms + "[[block]]\nquiet_s = 31000000\n" + call_block +
                        "[[block]]\nquiet_s = 31000000\n"),
              HasSubstr("found a plan of more than"));
  EXPECT_THAT(
      complaint(head + rhythms + replaced(block_of("call", 10'000'000), "1500, 2500", "3600000")),
      HasSubstr("expected at most 366 days"));
}

TEST(ParseScenario, RefusesRhythmsOfWhichNoneIsUsed) {
  EXPECT_THAT(complaint(head + rhythms + "[[block]]\nquiet_s = 60\n"),
              AllOf(StartsWith("knock.toml:5:"), HasSubstr("no block uses")));
  EXPECT_EQ(complaint(head + "[[block]]\nquiet_s = 60\n"), "no error");
}

TEST(ParseScenario, TakesNothingButTablesForTables) {
  for (const auto* wrong :
       {"rhythm = 3\n", "rhythm.call = 3\n", "block = 3\n", "block = []\n", "block = [3]\n",
        "jitter = 3\n", "accept = []\n", "reference = 1.5\n"}) {
    EXPECT_NE(complaint(std::string(wrong) + whole), "no error") << wrong;
  }
}

}  // namespace
}  // namespace plexor::scenario
