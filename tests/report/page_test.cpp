#include "report/page.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <nlohmann/json.hpp>

#include "report/format.hpp"
#include "report/results_builder.hpp"

namespace plexor::report {
namespace {

using testing::HasSubstr;
using testing::Not;

analysis::Results small_page_run() { return results_of({.trials = 40, .quiet_s = 3600}); }

/// The page without its scripts: what a reader has who runs none.
std::string without_scripts(std::string page) {
  for (std::size_t at = page.find("<script"); at != std::string::npos; at = page.find("<script")) {
    page.erase(at, page.find("</script>", at) + 9 - at);
  }
  return page;
}

std::string chart_island(const std::string& page) {
  const std::string begin = R"(<script type="application/json" id="chart-data">)";
  const std::size_t at = page.find(begin) + begin.size();
  return page.substr(at, page.find("</script>", at) - at);
}

std::size_t occurrences(const std::string& text, const std::string& part) {
  std::size_t count = 0;
  for (std::size_t at = text.find(part); at != std::string::npos; at = text.find(part, at + 1)) {
    ++count;
  }
  return count;
}

TEST(Page, GivesTheSameBytesAgain) {
  EXPECT_EQ(report_page(small_page_run()), report_page(small_page_run()));
}

TEST(Page, SaysTheAnswerFirst) {
  analysis::Results results = small_page_run();
  results.overall = analysis::Judgement::fail;
  results.headline = "Fail: panel heard 271 of 320 knocks";
  const std::string page = report_page(results);
  EXPECT_THAT(page, HasSubstr("</svg> FAIL</h1>"));
  EXPECT_THAT(page, HasSubstr(">panel heard 271 of 320 knocks</p>"));
  EXPECT_LT(page.find("271 of 320"), page.find("Verdicts"));
  EXPECT_LT(page.find("Verdicts"), page.find("Evidence"));
  EXPECT_LT(page.find("Evidence"), page.find("Setting</h2>"));
}

TEST(Page, ShowsEveryFigureAsTextWithoutScripts) {
  const analysis::Results results = small_page_run();
  const std::string page = without_scripts(report_page(results));
  const analysis::DeviceResult& device = results.devices.front();
  for (const analysis::Verdict& verdict : results.verdicts) {
    EXPECT_THAT(page, HasSubstr(estimate_text(verdict)));
    EXPECT_THAT(page, HasSubstr(limit_text(verdict)));
    EXPECT_THAT(page, HasSubstr(interval_text(*verdict.interval, verdict.unit, verdict.limit)));
  }
  for (const analysis::RhythmResult& rhythm : device.rhythms) {
    EXPECT_THAT(page, HasSubstr("<b>" + share_text(rhythm.correct) + "</b>"));
    EXPECT_THAT(page, HasSubstr(interval_text(*rhythm.correct.wilson, "")));
  }
  for (const analysis::Percentile& percentile : device.latency.percentiles) {
    EXPECT_THAT(page, HasSubstr(">" + quantity(*percentile.ms, "ms") + "<"));
  }
  for (const analysis::StrengthBin& bin : device.strength) {
    EXPECT_THAT(page, HasSubstr(share_text(bin.detected)));
  }
}

TEST(Page, HasARowForEachFinding) {
  const analysis::Results results = small_page_run();
  ASSERT_FALSE(results.findings.empty());
  const std::string page = report_page(results);
  EXPECT_EQ(occurrences(page, "<tr id=\"finding-"), results.findings.size());
  EXPECT_THAT(page, HasSubstr("Findings: " + count(results.findings_total)));
}

TEST(Page, SaysAtTheTopThatARunWasSimulated) {
  analysis::Results results = small_page_run();
  EXPECT_LT(report_page(results).find("Simulated."), report_page(results).find("<h1"));
  results.header.rig.simulated = false;
  EXPECT_THAT(report_page(results), Not(HasSubstr("Simulated.")));
}

TEST(Page, NoticesThatARunDidNotFinishOrItsJournalIsDamaged) {
  analysis::Results results = small_page_run();
  EXPECT_THAT(report_page(results), Not(HasSubstr("class=\"notice\"")));
  results.ended.reset();
  results.reading.damage_count = 1;
  results.reading.damages.emplace_back().what = "checksum differs";
  const std::string page = report_page(results);
  EXPECT_THAT(page, HasSubstr("The run did not finish: the journal just stops."));
  EXPECT_THAT(page, HasSubstr("The journal is damaged in 1 place;"));
  EXPECT_THAT(page, HasSubstr("checksum differs"));
}

TEST(Page, SpeaksOfDriveWithoutCalibration) {
  RunModel model{.trials = 40, .quiet_s = 600, .calibrated = false};
  model.devices[0].half_heard_m_s = 0.7;
  const std::string page = without_scripts(report_page(results_of(model)));
  EXPECT_THAT(page, HasSubstr("Strike, drive"));
  EXPECT_THAT(page.substr(0, page.find("Scenario as run")), Not(HasSubstr(" m/s")));
}

TEST(Page, SetsTheLatenciesOfSeveralListenersSideBySide) {
  const std::string one = without_scripts(report_page(small_page_run()));
  EXPECT_THAT(one, Not(HasSubstr("Heard by")));
  const std::string two =
      without_scripts(report_page(with_second_listener(small_page_run(), 23.4)));
  EXPECT_THAT(two,
              HasSubstr("Half of the answers came by broker at least 23.4 ms later than serial"));
  EXPECT_THAT(two, HasSubstr("topic knock at broker:1883"));
  EXPECT_THAT(two, HasSubstr("4.6 ms (stamp of the arrival 4.6 ms)"));
  EXPECT_THAT(two, HasSubstr("0.029 ms"));
}

TEST(Page, KeepsHostileNamesHarmless) {
  const std::string page = report_page(hostile_results());
  EXPECT_EQ(occurrences(page, "alert(1)</script>"), 0U);
  EXPECT_EQ(occurrences(page, "<script"),
            3U + occurrences(report_page(small_page_run()), "<script") - 3U);
  EXPECT_THAT(page, HasSubstr("&lt;/script&gt;&lt;script&gt;alert(1)&lt;/script&gt;&quot;&apos;"
                              "&amp;\xEF\xBF\xBD\xEF\xBF\xBD[31m"));
  EXPECT_EQ(page.find('\x1b'), std::string::npos);
}

TEST(Page, KeepsHostileNamesInsideTheChartData) {
  const std::string island = chart_island(report_page(hostile_results()));
  EXPECT_THAT(island, Not(HasSubstr("<")));
  const auto data = nlohmann::json::parse(island);
  EXPECT_THAT(data["devices"][0]["detection"]["rows"][0]["name"].get<std::string>(),
              HasSubstr("<script>alert(1)</script>"));
}

TEST(Page, AsksNobodyForAnything) {
  const std::string page = without_scripts(report_page(small_page_run()));
  EXPECT_THAT(page, HasSubstr("default-src 'none'"));
  for (const char* outside : {"src=\"", "href=\"http", "@import", "url("}) {
    EXPECT_THAT(page, Not(HasSubstr(outside)));
  }
}

TEST(Page, LeavesNoTemplateTagBehind) {
  const std::string page = without_scripts(report_page(small_page_run()));
  EXPECT_THAT(page, Not(HasSubstr("{{")));
  EXPECT_THAT(page, Not(HasSubstr("}}")));
}

TEST(Page, HasSomethingToSayAboutARunThatNeverBegan) {
  analysis::Results results;
  results.headline = "the journal stops before the run was over";
  const std::string page = report_page(results);
  EXPECT_THAT(page, HasSubstr("UNDECIDED</h1>"));
  EXPECT_THAT(page, HasSubstr("The scenario sets no limit"));
}

TEST(Page, StaysSmallWhenEverythingIsFull) {
  analysis::Results results = small_page_run();
  results.findings.resize(analysis::max_findings, results.findings.front());
  results.timeline.resize(240, {.to_s = 3600.0, .trials = 40'000, .wrong = 812, .alarms = 3});
  results.devices.resize(4, results.devices.front());
  for (analysis::DeviceResult& device : results.devices) {
    device.latency.ecdf.assign(400, {512.345678, 0.123456789});
  }
  EXPECT_LT(report_page(results).size(), 1'000'000U + 210'000U);  // the chart library has 200 kB
}

}  // namespace
}  // namespace plexor::report
