#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "analysis/made_history.hpp"
#include "report/trend.hpp"

namespace plexor::report {
namespace {

using testing::HasSubstr;
using testing::Not;
using testing::StartsWith;

const analysis::Trend& eventful() {
  static const analysis::Trend trend = analysis::trend_of(analysis::eventful_history(4));
  return trend;
}

TEST(TrendText, BeginsWithTheAnswerAndNumbersItsFindings) {
  const std::string text = trend_text(eventful(), {.colour = false, .width = 100});
  EXPECT_THAT(text, StartsWith("3 findings in 14 nights (2026-06-01 to 2026-06-14): "));
  EXPECT_THAT(text, HasSubstr("\n1. In the night of 2026-06-05 the computer began anew"));
  EXPECT_THAT(text, HasSubstr("finding 1, left out"));
  EXPECT_THAT(text, HasSubstr("Simulated"));
  EXPECT_THAT(text, HasSubstr("at most 5 %"));
  EXPECT_THAT(text, Not(HasSubstr("nan")));
}

TEST(TrendText, ACleanHistoryIsSaidToBe) {
  const auto trend = analysis::trend_of(analysis::made_history(analysis::steady_nights(14, 4)));
  EXPECT_THAT(trend_text(trend, {}), StartsWith("Nothing stands out in 14 nights"));
  EXPECT_THAT(trend_text(analysis::trend_of({}), {}), StartsWith("No runs"));
}

TEST(TrendJson, NamesEachNightAndItsCause) {
  const auto json = nlohmann::json::parse(trend_json(eventful()));
  EXPECT_EQ(json["format"], trend_format);
  ASSERT_EQ(json["findings"].size(), 3U);
  EXPECT_EQ(json["findings"][0]["cause"], "power cut or restart");
  EXPECT_EQ(json["findings"][0]["nights"][0], "2026-06-05");
  EXPECT_EQ(json["findings"][1]["kind"], "broken-device");
  EXPECT_EQ(json["findings"][2]["release"], "1.5");
  EXPECT_EQ(json["nights"][4]["findings"][0], 0);
  EXPECT_EQ(json["series"][0]["drifts"][0], "2026-06-09");
  EXPECT_EQ(json["series"][0]["points"].size(), 14U);
}

TEST(TrendPage, TitlesEachChartByWhatItShows) {
  const std::string page = trend_page(eventful());
  EXPECT_THAT(page, HasSubstr("detection falls since release 1.5 (2026-06-09)</h3>"));
  EXPECT_THAT(page, HasSubstr("glass door’s detection keeps its level"));
  EXPECT_THAT(page, HasSubstr("data-chart=\"course\""));
  EXPECT_THAT(page, HasSubstr("drifts from here"));
  EXPECT_THAT(page, HasSubstr("exact binomial limits"));
}

TEST(TrendPage, NamesFromOutsideAreText) {
  auto runs = analysis::eventful_history(4);
  for (auto& run : runs) run.devices[0].name = "</script><b>";
  const std::string page = trend_page(analysis::trend_of(runs));
  EXPECT_THAT(page, Not(HasSubstr("</script><b>")));
}

}  // namespace
}  // namespace plexor::report
