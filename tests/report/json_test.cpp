#include "report/json.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <limits>
#include <nlohmann/json.hpp>

#include "report/results_builder.hpp"

namespace plexor::report {
namespace {

using nlohmann::json;

TEST(ResultsJson, GivesTheNumbersBack) {
  const analysis::Results results = results_of({.trials = 40, .quiet_s = 1200});
  const json parsed = json::parse(results_json(results));
  const analysis::DeviceResult& device = results.devices.front();
  const json& written = parsed["devices"][0];
  EXPECT_EQ(written["detection"]["x"], device.detection.x);
  EXPECT_NEAR(written["detection"]["share"], *device.detection.estimate, 1e-8);
  EXPECT_NEAR(written["detection"]["exact"]["lower"], device.detection.exact->lower, 1e-8);
  EXPECT_EQ(written["latency"]["ecdf"].size(), device.latency.ecdf.size());
  EXPECT_EQ(written["confusion"]["counts"], device.confusion);
  EXPECT_EQ(parsed["run"]["seed"], results.header.seed);
  EXPECT_EQ(parsed["verdicts"].size(), results.verdicts.size());
}

TEST(ResultsJson, WritesInfinityAsNullWithAFlag) {
  analysis::Results results = results_of({.trials = 10, .quiet_s = 600});
  analysis::Percentile& p99 = results.devices[0].latency.percentiles.back();
  p99.ms = p99.interval->upper = std::numeric_limits<double>::infinity();
  const json parsed = json::parse(results_json(results));
  const json& written = parsed["devices"][0]["latency"]["percentiles"].back();
  EXPECT_TRUE(written["ms"].is_null());
  EXPECT_EQ(written["beyond"], true);
  EXPECT_TRUE(written["interval"]["upper_ms"].is_null());
  EXPECT_EQ(written["interval"]["upper_ms_beyond"], true);
}

TEST(ResultsJson, WritesNoLongNumbers) {
  analysis::Results results = results_of({.trials = 10, .quiet_s = 600});
  results.void_fraction = 1.0 / 3.0;
  EXPECT_THAT(results_json(results), testing::HasSubstr("\"void_share\": 0.333333333,"));
}

TEST(ResultsJson, SaysDriveWithoutCalibration) {
  RunModel model{.trials = 40, .quiet_s = 600, .calibrated = false};
  model.devices[0].half_heard_m_s = 0.7;
  const analysis::Results results = results_of(model);
  const std::string text = results_json(results);
  EXPECT_THAT(text, testing::Not(testing::HasSubstr("_m_s")));
  const json parsed = json::parse(text);
  ASSERT_FALSE(parsed["findings"].empty());
  EXPECT_TRUE(parsed["findings"][0].contains("strike_drive"));
}

TEST(ResultsJson, BeginsWithItsFormatAndKeepsItsOrder) {
  const analysis::Results results = results_of({.trials = 10, .quiet_s = 600});
  EXPECT_THAT(results_json(results), testing::StartsWith("{\n  \"format\": 4,\n"));
  EXPECT_EQ(results_json(results), results_json(results));
}

TEST(ResultsJson, SurvivesHostileNamesAndBrokenBytes) {
  analysis::Results results = hostile_results();
  results.headline = "\xFF\xFE";
  const json parsed = json::parse(results_json(results));
  EXPECT_EQ(parsed["devices"][0]["name"], hostile_name);
}

}  // namespace
}  // namespace plexor::report
