#include "analysis/comparing/units.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>

#include "base/error.hpp"

namespace plexor::analysis {
namespace {

using ::testing::Contains;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using ::testing::SizeIs;

const std::string acceptance_text =
    "[scenario]\nname = \"acceptance\"\npurpose = \"regression\"\nseed = 1\n"
    "[rhythm.call]\ncontacts_ms = [0, 190]\n"
    "[[block]]\nrhythm = \"call\"\ntrials = 400\nstrike_m_s = 0.9\nwindow_ms = 900\ngap_ms = 1500\n"
    "[[block]]\nquiet_s = 36000\n";

struct Panel {
  std::string name;
  std::function<bool(std::uint32_t)> hears;
  std::string position{};
  std::uint64_t alarms = 2;
};

/// Misses each nth knock, beginning with `from`.
std::function<bool(std::uint32_t)> misses_each(std::uint32_t nth, std::uint32_t from = 0) {
  return [nth, from](std::uint32_t trial) { return trial % nth != from; };
}

RunEvidence run_of(const std::vector<Panel>& panels, const std::string& more = "") {
  RunEvidence run;
  run.place = "runs/one";
  run.scenario = scenario::parse_scenario(acceptance_text + more, "s.toml");
  run.header.rig.surface = "oak counter";
  run.quiet_hours = 10.0;
  run.is_complete = true;
  for (const Panel& panel : panels) {
    DeviceAnswers answers{
        .name = panel.name, .version = "1.4", .trials = {}, .incidents = panel.alarms};
    for (std::uint32_t trial = 0; trial < 400; ++trial) {
      answers.trials.push_back({0, trial, 0, panel.hears(trial), 400.0});
    }
    run.devices.push_back(std::move(answers));
    run.header.rig.devices.push_back(
        {.name = panel.name, .version = "1.4", .position = panel.position});
  }
  return run;
}

UnitsTable table_of(const std::vector<RunEvidence>& runs) { return table_of_units(runs); }

TEST(Units, ThatAreAlikeDoNotStandOut) {
  const UnitsTable found = table_of(
      {run_of({{"a", misses_each(40)}, {"b", misses_each(40, 7)}, {"c", misses_each(50, 3)}})});
  EXPECT_TRUE(found.shared_taps);
  EXPECT_EQ(found.standing_out, 0U);
  EXPECT_EQ(found.headline, "none of 3 units stands out");
  ASSERT_THAT(found.alikeness, SizeIs(2));
  EXPECT_EQ(found.alikeness[0].test, "Cochran's Q");
  EXPECT_EQ(found.alikeness[0].degrees, 2.0);
  EXPECT_GT(found.alikeness[0].p, 0.5);
  EXPECT_EQ(found.units[0].hits.x, 390U);
}

TEST(Units, TheDeafOneIsNamedOfThoseThatHeardTheSame) {
  const UnitsTable found = table_of(
      {run_of({{"a", misses_each(40)}, {"b", misses_each(12, 5)}, {"c", misses_each(40, 7)}})});
  EXPECT_EQ(found.standing_out, 1U);
  EXPECT_TRUE(found.units[1].stands_out);
  EXPECT_THAT(found.units[1].reason, HasSubstr("hears less than the others"));
  EXPECT_THAT(found.headline, HasSubstr("1 of 3 units stands out; b: "));
  EXPECT_THAT(found.units[0].reason, HasSubstr("does not stand out"));
}

TEST(Units, TheDeafOneIsNamedOfThoseInRunsOfTheirOwn) {
  const UnitsTable found =
      table_of({run_of({{"a", misses_each(40)}}), run_of({{"b", misses_each(8)}}),
                run_of({{"c", misses_each(50)}})});
  EXPECT_FALSE(found.shared_taps);
  EXPECT_THAT(found.alikeness[0].test, HasSubstr("chi-square"));
  EXPECT_EQ(found.standing_out, 1U);
  EXPECT_TRUE(found.units[1].stands_out);
}

TEST(Units, ARestlessOneIsNamedByItsFalseAlarms) {
  const UnitsTable found = table_of({run_of({{"a", misses_each(40), "", 1},
                                             {"b", misses_each(40, 1), "", 30},
                                             {"c", misses_each(40, 2), "", 2}})});
  EXPECT_EQ(found.standing_out, 1U);
  EXPECT_THAT(found.units[1].reason, HasSubstr("raises more false alarms than the others"));
}

TEST(Units, OfManyAreJudgedMoreSlowly) {
  const auto p_with = [](std::size_t others) {
    std::vector<Panel> panels{{"odd", misses_each(30)}};
    for (std::size_t i = 0; i < others; ++i) {
      panels.push_back({"p" + std::to_string(i), misses_each(60, static_cast<unsigned>(i))});
    }
    return table_of({run_of(panels)}).units[0].detection_p;
  };
  EXPECT_LT(p_with(2), p_with(10)) << "the same unit";
}

TEST(Units, PlacesThatRotateEvenlyAreNoExplanation) {
  const auto heard = misses_each(40);
  const UnitsTable even = table_of({run_of({{"a", heard, "left"}, {"b", heard, "right"}}),
                                    run_of({{"a", heard, "right"}, {"b", heard, "left"}})});
  EXPECT_THAT(even.remarks, ElementsAre(HasSubstr("a difference is not the place's")));
  EXPECT_THAT(even.units[0].positions, ElementsAre("left", "right"));
  EXPECT_EQ(even.units[0].runs, 2U);
  const UnitsTable fixed = table_of({run_of({{"a", heard, "left"}, {"b", heard, "right"}})});
  EXPECT_THAT(fixed.remarks, ElementsAre(HasSubstr("may be the place's")));
  const UnitsTable untold = table_of({run_of({{"a", heard}, {"b", heard}})});
  EXPECT_THAT(untold.remarks, ElementsAre(HasSubstr("no place was told")));
}

TEST(Units, OfSeveralReleasesAreSaidToBe) {
  RunEvidence run = run_of({{"a", misses_each(40), "x"}, {"b", misses_each(40), "x"}});
  run.devices[1].version = "1.5";
  EXPECT_THAT(table_of({run}).remarks, Contains(HasSubstr("different releases (1.4; 1.5)")));
}

TEST(Units, WhatCannotBeComparedIsRefused) {
  const auto heard = misses_each(40);
  EXPECT_THROW(table_of({run_of({{"a", heard}})}), base::InputError);
  RunEvidence elsewhere = run_of({{"b", heard}});
  elsewhere.header.rig.surface = "granite slab";
  EXPECT_THROW(table_of({run_of({{"a", heard}}), elsewhere}), base::InputError);
  EXPECT_THROW(table_of({run_of(
                   {{"a", heard}, {"b", heard}},
                   "[accept]\ndetection_rate = { sequential = { good = 0.98, bad = 0.95 } }\n")}),
               base::InputError);
}

TEST(Units, HaveReservationsAboutRunsThatDecideNothing) {
  RunEvidence run = run_of({{"a", misses_each(40)}, {"b", misses_each(40)}});
  run.is_complete = false;
  EXPECT_THAT(table_of({run}).reservations, ElementsAre(HasSubstr("did not come to its end")));
  run.header.lifted = true;
  EXPECT_THROW(table_of({run}), base::InputError);
}

TEST(Units, BearARunInWhichNothingCounts) {
  RunEvidence run = run_of({{"a", misses_each(40)}, {"b", misses_each(40)}});
  for (DeviceAnswers& device : run.devices) device.trials.clear();
  run.quiet_hours = 0.0;
  const UnitsTable found = table_of({run});
  EXPECT_EQ(found.standing_out, 0U);
  EXPECT_THAT(found.alikeness, IsEmpty());
  EXPECT_THAT(found.reservations, ElementsAre(HasSubstr("nothing was tapped")));
}

}  // namespace
}  // namespace plexor::analysis
