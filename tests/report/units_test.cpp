#include "report/units.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

namespace plexor::report {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;
using ::testing::StartsWith;

analysis::UnitsTable two_units() {
  analysis::UnitRow quiet;
  quiet.name = "panel 2";
  quiet.version = "1.4";
  quiet.positions = {"left", "right"};
  quiet.hits = {.x = 391, .n = 400};
  quiet.hits_interval = analysis::wilson(391, 400, 0.95, analysis::Sides::two);
  quiet.median_ms = 412.0;
  quiet.alarms = {.count = 3, .exposure = 4.0};
  quiet.stands_out = true;
  quiet.detection_p = 0.0123;
  quiet.reason = "panel 2: hears less than the others";
  analysis::UnitRow untried;
  untried.name = "panel 3";
  untried.reason = "panel 3: does not stand out";
  analysis::UnitsTable table;
  table.units = {quiet, untried};
  table.shared_taps = true;
  table.alikeness = {{"detection rate", "Cochran's Q", 7.25, 1.0, 0.0071}};
  table.remarks = {"no place was told"};
  table.standing_out = 1;
  table.headline = "1 of 2 units stands out";
  return table;
}

TEST(UnitsText, ShowsEachUnitAndWhyItStandsOut) {
  const std::string text = units_text(two_units(), {});
  EXPECT_THAT(text, StartsWith("1 of 2 units stands out\n"));
  EXPECT_THAT(text, HasSubstr("left, right"));
  EXPECT_THAT(text, HasSubstr("97.8 %"));
  EXPECT_THAT(text, HasSubstr("STANDS OUT"));
  EXPECT_THAT(text, HasSubstr("(Cochran's Q = 7.25, degrees of freedom: 1)"));
  EXPECT_THAT(text, HasSubstr("note: no place was told"));
  EXPECT_THAT(text, HasSubstr("panel 2: hears less than the others"));
  EXPECT_THAT(text, HasSubstr("heard the same taps"));
  EXPECT_THAT(text, Not(HasSubstr("nan")));
}

TEST(UnitsJson, HoldsAllOfIt) {
  const auto json = nlohmann::json::parse(units_json(two_units()));
  EXPECT_EQ(json["format"], units_format);
  EXPECT_EQ(json["standing_out"], 1);
  EXPECT_EQ(json["units"][0]["trials"], 400);
  EXPECT_EQ(json["units"][0]["detection_p_adjusted"], 0.0123);
  EXPECT_TRUE(json["units"][1]["share"].is_null());
  EXPECT_EQ(json["alikeness"][0]["test"], "Cochran's Q");
}

}  // namespace
}  // namespace plexor::report
