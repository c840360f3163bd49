#include "report/comparison.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <limits>
#include <nlohmann/json.hpp>

#include "report/comparison_page.hpp"

namespace plexor::report {
namespace {

using analysis::ComparedFigure;
using analysis::Comparison;
using analysis::Relation;
using testing::HasSubstr;
using testing::Not;
using testing::StartsWith;

constexpr double unbounded = std::numeric_limits<double>::infinity();

Comparison two_releases() {
  ComparedFigure detection;
  detection.device = "panel";
  detection.figure = "detection rate";
  detection.base = 0.99;
  detection.candidate = 0.89;
  detection.change = -0.1;
  detection.interval = {-0.123456789123, -0.08, 0.95, analysis::Sides::two, "Tango"};
  detection.margin = 0.03;
  detection.decides = true;
  detection.relation = Relation::worse;
  detection.reason = "panel lost ten points";
  ComparedFigure latency;
  latency.device = "panel";
  latency.figure = "latency";
  latency.rhythm = "kiln";
  latency.unit = "ms";
  latency.change = 4.2;
  latency.interval = {-unbounded, unbounded, 0.95, analysis::Sides::two, "Hodges-Lehmann"};
  latency.reason = "nothing can be said of kiln";
  Comparison found;
  found.paired = true;
  found.overall = Relation::worse;
  found.headline = detection.reason;
  found.figures = {detection, latency};
  found.base_version = "1.4";
  found.candidate_version = "1.5 <b>";
  analysis::ComparedLatencies latencies;
  latencies.device = "panel";
  latencies.base_ecdf = {{400.0, 0.5}, {500.0, 1.0}};
  latencies.candidate_ecdf = {{450.0, 0.4}, {520.0, 0.8}};
  analysis::ComparedQuantile median;
  median.p = 0.5;
  median.base = 450.0;
  median.candidate = 462.0;
  median.change.estimate = 12.0;
  median.change.interval = {-3.0, unbounded, 0.95, analysis::Sides::two, "squared"};
  latencies.quantiles = {median};
  found.latencies = {latencies};
  found.differences.push_back({.what = "seed", .base = "1", .candidate = "2"});
  return found;
}

TEST(ComparisonText, BeginsWithTheAnswer) {
  EXPECT_THAT(comparison_text(two_releases(), {}), StartsWith("worse: panel lost ten points\n"));
}

TEST(ComparisonText, ShowsEachFigureWithItsIntervalAndNoBoundsThatAreNone) {
  const std::string text = comparison_text(two_releases(), {});
  EXPECT_THAT(text, HasSubstr("-10.0 points"));
  EXPECT_THAT(text, HasSubstr("-12.3 points to -8.0 points"));
  EXPECT_THAT(text, HasSubstr("panel, latency of kiln"));
  EXPECT_THAT(text, HasSubstr("+4.2 ms"));
  EXPECT_THAT(text, Not(HasSubstr("inf")));
}

TEST(ComparisonText, SaysHowItWasCompared) {
  Comparison found = two_releases();
  EXPECT_THAT(comparison_text(found, {}), HasSubstr("paired trial by trial"));
  EXPECT_THAT(comparison_text(found, {}), HasSubstr("differs: seed: base 1, candidate 2"));
  EXPECT_THAT(comparison_text(found, {}), HasSubstr("Usual margins"));
  found.paired = false;
  found.margins.given = true;
  found.reservations = {"run 2 did not come to its end"};
  EXPECT_THAT(comparison_text(found, {}), HasSubstr("not paired"));
  EXPECT_THAT(comparison_text(found, {}), HasSubstr("reservation: run 2"));
  EXPECT_THAT(comparison_text(found, {}), Not(HasSubstr("Usual margins")));
}

TEST(ComparisonText, GivesReasonsForWhatDecidesOrSpeaksAgainst) {
  Comparison found = two_releases();
  EXPECT_THAT(comparison_text(found, {}), Not(HasSubstr("nothing can be said of kiln")));
  found.figures[1].relation = Relation::worse;
  EXPECT_THAT(comparison_text(found, {}), HasSubstr("nothing can be said of kiln"));
}

TEST(ComparisonText, ANameCannotSteerTheTerminal) {
  Comparison found = two_releases();
  found.figures[0].device = "pan\x1b[2Jel";
  found.headline = "pan\x1b[2Jel";
  EXPECT_THAT(comparison_text(found, {}), Not(HasSubstr("\x1b")));
}

TEST(ComparisonJson, HoldsAllFiguresAndNullForWhatIsInfinite) {
  const auto json = nlohmann::json::parse(comparison_json(two_releases()));
  EXPECT_EQ(json["format"], comparison_format);
  EXPECT_EQ(json["verdict"], "worse");
  EXPECT_EQ(json["differences"][0], "seed: base 1, candidate 2");
  ASSERT_EQ(json["figures"].size(), 2U);
  EXPECT_EQ(json["figures"][0]["lower"], -0.123456789);
  EXPECT_TRUE(json["figures"][0]["rhythm"].is_null());
  EXPECT_EQ(json["figures"][1]["rhythm"], "kiln");
  for (const char* key : {"lower", "upper", "base", "margin"}) {
    EXPECT_TRUE(json["figures"][1][key].is_null()) << key;
  }
  EXPECT_TRUE(json["margins"]["alarm_ratio"].is_null());
}

TEST(ComparisonText, ShowsQuantilesAfterTheReasons) {
  const std::string text = comparison_text(two_releases(), {});
  EXPECT_THAT(text, HasSubstr("panel, p50  450 ms  462 ms  +12 ms  at least -3.0 ms"));
}

TEST(ComparisonPage, ShowsBothReleasesSideBySide) {
  const std::string page = comparison_page(two_releases());
  EXPECT_THAT(page, HasSubstr("> WORSE</h1>"));
  EXPECT_THAT(page, HasSubstr("Before: <bdi>1.4</bdi>"));
  EXPECT_THAT(page, HasSubstr("Now: <bdi>1.5 &lt;b&gt;</bdi>"));
  EXPECT_THAT(page, HasSubstr("-12.3 points to -8.0 points"));
  EXPECT_THAT(page, HasSubstr("margin: -3.0 points"));
  EXPECT_THAT(page, HasSubstr("seed: base 1, candidate 2"));
  EXPECT_THAT(page, HasSubstr("at least -3.0 ms"));
  EXPECT_THAT(page, Not(HasSubstr("<b>\"")));
}

TEST(ComparisonPage, DrawsBothLatenciesOverOneRangeOfTime) {
  const std::string page = comparison_page(two_releases());
  const std::string begin = "id=\"chart-data\">";
  const std::size_t from = page.find(begin) + begin.size();
  const auto charts = nlohmann::json::parse(page.substr(from, page.find("</script>", from) - from));
  ASSERT_EQ(charts.size(), 1U);
  EXPECT_TRUE(charts[0]["steps"].get<bool>());
  for (const auto& trace : charts[0]["traces"]) {
    EXPECT_EQ(trace["points"].front()[0], 400.0);
    EXPECT_EQ(trace["points"].back()[0], 520.0);
  }
  EXPECT_EQ(charts[0]["traces"][1]["points"].back()[1], 0.8);
}

TEST(ComparisonPage, BearsReleasesOfWhichNothingWasHeard) {
  Comparison found = two_releases();
  found.latencies[0].base_ecdf.clear();
  found.latencies[0].candidate_ecdf.clear();
  found.reservations = {"run 2 did not come to its end"};
  const std::string page = comparison_page(found);
  EXPECT_THAT(page, Not(HasSubstr("<canvas")));
  EXPECT_THAT(page, HasSubstr("Reservation: run 2 did not come to its end."));
}

}  // namespace
}  // namespace plexor::report
