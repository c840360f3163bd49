#include "report/csv.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <sstream>

#include "report/results_builder.hpp"

namespace plexor::report {
namespace {

using namespace std::chrono_literals;
using testing::EndsWith;
using testing::HasSubstr;
using testing::StartsWith;

/// One presentation of `call`, answered by one device.
class Csv : public testing::Test {
 protected:
  Csv() {
    header.rig.calibrated = true;
    add_device("panel");
    scenario.rhythms = {{.name = "call", .contacts = {0ms, 190ms}, .expects = "call"}};
    planned.trial = {
        .id = {2, 7, 1},
        .taps = {{.contact = 0ms, .strike = {900'000}}, {.contact = 190ms, .strike = {851'500}}}};
    planned.start = base::segment_start + 12'345'678us;
    planned.pulses = {{{}, 4800us}, {{}, 4750us}};
    planned.coil_mc = 31'250;
    done.contacts = {base::segment_start + 12s, base::segment_start + 12'190'250us};
    settled.trial.expects = "call";
    settled.answers = {answer(base::Outcome::hit, 412'500us)};
  }

  void add_device(const std::string& name) { header.rig.devices.emplace_back().name = name; }

  static judge::Answer answer(base::Outcome outcome, base::Duration latency) {
    judge::Answer result;
    result.outcome = outcome;
    result.latency = latency;
    result.heard = "call";
    return result;
  }

  std::string line() {
    std::string out;
    append_trial_rows(out, header, scenario, {&planned, &done, &settled, 0});
    return out;
  }

  journal::Header header;
  scenario::Scenario scenario;
  journal::TrialPlanned planned;
  journal::TrialDone done;
  judge::Settled settled;
};

TEST_F(Csv, WritesOneLineForAnAnswer) {
  EXPECT_EQ(line(),
            "0,2,7,1,rhythm,call,call,panel,,12.345678,0.000 190.000,0.000 190.250,0.900 0.851,"
            "4.800 4.750,31.250,,hit,412.500,call,0,0,0\r\n");
}

TEST_F(Csv, HasAsManyCellsAsItsHeader) {
  const std::string header_line = trials_csv_header();
  const std::string row = line();
  EXPECT_EQ(std::count(row.begin(), row.end(), ','),
            std::count(header_line.begin(), header_line.end(), ','));
  EXPECT_THAT(header_line, EndsWith(",incidents\r\n"));
}

TEST_F(Csv, WritesOneLineForEachDevice) {
  add_device("door");
  settled.answers.emplace_back().outcome = base::Outcome::miss;
  EXPECT_THAT(line(), HasSubstr(",door,,12.345678,"));
  EXPECT_THAT(line(), EndsWith(",miss,,,0,0,0\r\n"));
}

TEST_F(Csv, CountsNoOutcomeOfAVoidTrial) {
  settled.void_reason = base::VoidReason::re_strike;
  EXPECT_THAT(line(), EndsWith(",re-strike,,412.500,call,0,0,0\r\n"));
}

TEST_F(Csv, GivesNoSpeedWithoutCalibration) {
  header.rig.calibrated = false;
  EXPECT_THAT(line(), HasSubstr("0.000 190.250,,4.800 4.750"));
}

TEST_F(Csv, WritesReferenceTapsWithoutADevice) {
  planned.trial.kind = settled.trial.kind = base::TrialKind::reference;
  settled.trial.expects.clear();
  settled.answers.clear();
  EXPECT_THAT(line(), StartsWith("0,2,7,1,reference,,,,,12.345678,"));
}

TEST_F(Csv, GivesQuietItsIncidentsAndNoOutcome) {
  planned.trial.kind = settled.trial.kind = base::TrialKind::quiet;
  settled.answers = {judge::Answer{}};
  settled.answers[0].incidents = {base::segment_start + 1s, base::segment_start + 9s};
  EXPECT_THAT(line(), EndsWith(",,,,,0,0,2\r\n"));
}

TEST_F(Csv, WritesEarlyAnswersAsNegativeLatency) {
  settled.answers = {answer(base::Outcome::early, -12'500us)};
  EXPECT_THAT(line(), HasSubstr(",early,-12.500,call,"));
}

TEST_F(Csv, QuotesWhatNeedsQuotes) {
  settled.answers[0].heard = "a \"b\", c\nd";
  EXPECT_THAT(line(), HasSubstr(",\"a \"\"b\"\", c\nd\",0,"));
}

TEST_F(Csv, DefusesFormulas) {
  for (const std::string start : {"=", "+", "-", "@", " =", "\t=", "'", "\xEF\xBC\x9D"}) {
    settled.answers[0].heard = start + "cmd";
    EXPECT_THAT(line(), HasSubstr(",\"'" + start + "cmd\",0,"));
  }
}

TEST_F(Csv, ReplacesControlCharacters) {
  settled.answers[0].heard = "ca\x1bll";
  EXPECT_THAT(line(), HasSubstr(",\"ca\xEF\xBF\xBDll\",0,"));
}

TEST(CsvOfARun, HasALineForEveryPresentationOfEveryDevice) {
  std::string csv;
  std::size_t expected = 0;
  RunModel model{.trials = 10, .quiet_s = 600, .void_share = 0.2};
  model.devices = {{.name = "panel"}, {.name = "door"}};
  const analysis::Results results =
      results_of(model, [&](const auto& header, const auto& scenario, const auto& row) {
        append_trial_rows(csv, header, scenario, row);
        expected += row.settled->answers.size();
      });
  EXPECT_EQ(static_cast<std::size_t>(std::count(csv.begin(), csv.end(), '\n')), expected);
  EXPECT_GE(expected, 2 * results.trials_valid);
}

}  // namespace
}  // namespace plexor::report
