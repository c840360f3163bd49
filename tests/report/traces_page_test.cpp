#include "report/traces_page.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

namespace plexor::report {
namespace {

using ::testing::HasSubstr;
using ::testing::Not;

TracedTap spiky_tap() {
  Trace trace{"voltage", "mV", {}};
  for (int i = 0; i < 50'000; ++i) trace.points.emplace_back(i * 0.01, i == 31'417 ? -777.0 : 0.0);
  return {"glass <door>",
          "rig",
          {{"Strike", "0.90 m/s"}},
          {{"Voltage", "A spike.", "since contact", {trace}}}};
}

nlohmann::json charts_of(const std::string& page) {
  const std::string mark = "id=\"chart-data\">";
  const auto begin = page.find(mark) + mark.size();
  return nlohmann::json::parse(page.substr(begin, page.find("</script>", begin) - begin));
}

TEST(TracesPage, ThinsCurvesWithoutLosingTheirExtremes) {
  const auto charts = charts_of(traces_page("One tap", {spiky_tap()}));
  const auto& points = charts.at(0).at("traces").at(0).at("points");
  EXPECT_LT(points.size(), 2000U);
  bool spike = false;
  for (const auto& point : points) spike = spike || point == nlohmann::json{314.17, -777.0};
  EXPECT_TRUE(spike);
}

TEST(TracesPage, SaysThatItIsSimulatedAndWhatTheModelLeavesOut) {
  const std::string page = traces_page("One tap", {spiky_tap()});
  EXPECT_THAT(page, HasSubstr("<strong>Simulated.</strong>"));
  EXPECT_THAT(page, HasSubstr("factor of 1.5"));
}

TEST(TracesPage, NumbersChartsThroughAllTapsAndEscapesNames) {
  const std::string page = traces_page("One tap", {spiky_tap(), spiky_tap()});
  EXPECT_THAT(page, HasSubstr("data-chart=\"1\""));
  EXPECT_EQ(charts_of(page).size(), 2U);
  EXPECT_THAT(page, HasSubstr("glass &lt;door&gt;"));
  EXPECT_THAT(page, Not(HasSubstr("glass <door>")));
}

}  // namespace
}  // namespace plexor::report
