#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "scenario_texts.hpp"

namespace plexor::scenario {
namespace {

using namespace base;
using ::testing::AllOf;
using ::testing::HasSubstr;
using ::testing::StartsWith;

const std::string before = head + rhythms + call_block;  // 14 lines

std::string with_accept(const std::string& line) { return complaint(before + "[accept]\n" + line); }

std::string with_reference(const std::string& keys) {
  return complaint(before + "[reference]\n" + keys);
}

TEST(ParseAccept, ReadsEachLimit) {
  const Accept accept = parsed(before +
                               "[accept]\n"
                               "detection_rate = { at_least = 0.95, confidence = 0.9 }\n"
                               "confusion_rate = { at_most = 0.02 }\n"
                               "false_response_rate = { at_most = 0.05, confidence = 0.99 }\n"
                               "false_alarms_per_hour = { at_most = 2 }\n"
                               "void_fraction = { at_most = 0.1 }\n")
                            .accept;
  EXPECT_EQ(accept.detection_rate->side, Limit::Side::at_least);
  EXPECT_EQ(accept.detection_rate->value, 0.95);
  EXPECT_EQ(accept.detection_rate->confidence, 0.9);
  EXPECT_EQ(accept.confusion_rate->side, Limit::Side::at_most);
  EXPECT_EQ(accept.confusion_rate->confidence, 0.95);
  EXPECT_EQ(accept.false_response_rate->confidence, 0.99);
  EXPECT_EQ(accept.false_alarms_per_hour->value, 2.0);
  EXPECT_EQ(accept.max_void_fraction, 0.1);
}

TEST(ParseAccept, SortsLatenciesByQuantile) {
  const auto latencies = parsed(before +
                                "[accept]\nlatency_p99_ms = { at_most = 1100 }\n"
                                "latency_p50_ms = { at_most = 700, confidence = 0.9 }\n"
                                "latency_p95_ms = { at_most = 900 }\n"
                                "latency_p90_ms = { at_most = 800 }\n")
                             .accept.latencies;
  ASSERT_EQ(latencies.size(), 4U);
  EXPECT_EQ(latencies[0].quantile, 0.50);
  EXPECT_EQ(latencies[0].limit.value, 700.0);
  EXPECT_EQ(latencies[0].limit.confidence, 0.9);
  EXPECT_EQ(latencies[1].quantile, 0.90);
  EXPECT_EQ(latencies[2].quantile, 0.95);
  EXPECT_EQ(latencies[3].quantile, 0.99);
}

TEST(ParseAccept, RefusesTheWrongSideOfALimit) {
  EXPECT_THAT(with_accept("detection_rate = { at_most = 0.95 }\n"),
              AllOf(StartsWith("knock.toml:16:"), HasSubstr("accept.detection_rate.at_most"),
                    HasSubstr("expected at_least")));
  EXPECT_THAT(with_accept("latency_p95_ms = { at_least = 900 }\n"), HasSubstr("expected at_most"));
  EXPECT_THAT(with_accept("confusion_rate = { at_most = 0.1, at_least = 0.0 }\n"),
              HasSubstr("accept.confusion_rate.at_least"));
}

TEST(ParseAccept, RefusesRatesAndConfidencesOutsideTheirRange) {
  EXPECT_THAT(
      with_accept("detection_rate = { at_least = 95 }\n"),
      AllOf(StartsWith("knock.toml:16:31:"), HasSubstr("the number 95"), HasSubstr("from 0 to 1")));
  EXPECT_THAT(with_accept("confusion_rate = { at_most = -0.1 }\n"), HasSubstr("-0.1"));
  EXPECT_THAT(with_accept("false_response_rate = { at_most = nan }\n"), HasSubstr("nan"));
  EXPECT_THAT(with_accept("detection_rate = { at_least = 0.9, confidence = 1.0 }\n"),
              HasSubstr("accept.detection_rate.confidence"));
  EXPECT_THAT(with_accept("detection_rate = { at_least = 0.9, confidence = 95 }\n"),
              HasSubstr("the number 95"));
  EXPECT_THAT(with_accept("latency_p50_ms = { at_most = 0 }\n"), HasSubstr("the number 0"));
  EXPECT_THAT(with_accept("void_fraction = { at_most = 2 }\n"), HasSubstr("the number 2"));
}

TEST(ParseAccept, RefusesIncompleteAndUnknownLimits) {
  EXPECT_THAT(with_accept("detection_rate = 0.95\n"), HasSubstr("expected a table"));
  EXPECT_THAT(with_accept("detection_rate = {}\n"),
              HasSubstr("no value in \"accept.detection_rate.at_least\""));
  EXPECT_THAT(with_accept("detection_rat = { at_least = 0.9 }\n"),
              AllOf(StartsWith("knock.toml:16:1:"), HasSubstr("did you mean \"detection_rate\"?")));
  EXPECT_THAT(with_accept("detection_rate = { atleast = 0.9 }\n"),
              HasSubstr("did you mean \"at_least\"?"));
  EXPECT_THAT(with_accept("void_fraction = { at_most = 0.1, confidence = 0.9 }\n"),
              HasSubstr("the unknown key \"confidence\""));
}

TEST(ParseAccept, ReadsSequentialLimits) {
  const Accept accept = parsed(before +
                               "[accept]\n"
                               "detection_rate = { sequential = { good = 0.98, bad = 0.95, alpha = "
                               "0.1, beta = 0.01 } }\n"
                               "latency_p90_ms = { at_most = 900, sequential = { good = 0.97 } }\n"
                               "confusion_rate = { sequential = { good = 0.01, bad = 0.05 } }\n"
                               "false_alarms_per_hour = { sequential = { good = 0.2, bad = 2 } }\n"
                               "false_response_rate = { at_most = 0.05 }\n")
                            .accept;
  EXPECT_EQ(accept.detection_rate->sequential, (Sequential{0.98, 0.95, 0.1, 0.01}));
  EXPECT_EQ(accept.detection_rate->value, 0.95);
  EXPECT_EQ(accept.detection_rate->confidence, 0.99);
  EXPECT_EQ(accept.latencies[0].limit.sequential, (Sequential{0.97, 0.90, 0.05, 0.05}));
  EXPECT_EQ(accept.latencies[0].limit.value, 900.0);
  EXPECT_EQ(accept.confusion_rate->sequential, (Sequential{0.01, 0.05, 0.05, 0.05}));
  EXPECT_EQ(accept.false_alarms_per_hour->sequential, (Sequential{0.2, 2.0, 0.05, 0.05}));
  EXPECT_FALSE(accept.false_response_rate->sequential);
  EXPECT_TRUE(accept.may_stop_early());
  EXPECT_FALSE(
      parsed(before + "[accept]\ndetection_rate = { at_least = 0.95 }\n").accept.may_stop_early());
}

TEST(ParseAccept, RefusesSequentialLimitsThatMeanNothing) {
  const auto detection = [](const std::string& keys) {
    return with_accept("detection_rate = { sequential = { " + keys + " } }\n");
  };
  EXPECT_THAT(detection("good = 0.95, bad = 0.95"),
              AllOf(StartsWith("knock.toml:16:"), HasSubstr("better than the bad one, 0.95")));
  EXPECT_THAT(detection("good = 0.9, bad = 0.95"), HasSubstr("better than the bad one"));
  EXPECT_THAT(detection("good = 1, bad = 0.95"), HasSubstr("the number 1"));
  EXPECT_THAT(detection("good = 0.98"), HasSubstr("sequential.bad"));
  EXPECT_THAT(detection("good = 0.98, bad = 0.95, alpha = 0.5"), HasSubstr("the number 0.5"));
  EXPECT_THAT(detection("good = 0.98, bad = 0.95, gamma = 0.1"), HasSubstr("gamma"));
  EXPECT_THAT(with_accept("confusion_rate = { sequential = { good = 0.05, bad = 0.01 } }\n"),
              HasSubstr("better than the bad one, 0.01"));
  EXPECT_THAT(with_accept("detection_rate = { at_least = 0.9, sequential = { good = 0.98, bad = "
                          "0.95 } }\n"),
              HasSubstr("either sequential or a fixed limit"));
  EXPECT_THAT(
      with_accept("latency_p95_ms = { at_most = 900, sequential = { good = 0.98, bad = 0.95 } }\n"),
      HasSubstr("only good, alpha and beta"));
  EXPECT_THAT(with_accept("latency_p95_ms = { sequential = { good = 0.98 } }\n"),
              HasSubstr("latency_p95_ms.at_most"));
  EXPECT_THAT(with_accept("false_alarms_per_hour = { sequential = { good = 0, bad = 2 } }\n"),
              HasSubstr("the number 0"));
}

TEST(ParseAccept, RefusesAFixedLimitOnTrialsThatMayStopEarly) {
  const std::string sequential = "{ sequential = { good = 0.98, bad = 0.95 } }\n";
  EXPECT_THAT(
      with_accept("detection_rate = " + sequential + "latency_p95_ms = { at_most = 900 }\n"),
      AllOf(StartsWith("knock.toml:17:"), HasSubstr("trials that detection_rate may stop early")));
  EXPECT_THAT(with_accept("detection_rate = { at_least = 0.9 }\nconfusion_rate = { sequential = { "
                          "good = 0.01, bad = 0.05 } }\n"),
              HasSubstr("trials that confusion_rate may stop early"));
  EXPECT_EQ(
      with_accept("detection_rate = " + sequential + "false_response_rate = { at_most = 0.1 }\n"),
      "no error");
}

TEST(ParseAccept, RefusesToStopEarlyWhatComesInOrder) {
  const std::string sequential =
      "[accept]\ndetection_rate = { sequential = { good = 0.98, bad = 0.95 } }\n";
  const std::string in_order = replaced(head, "seed = 7", "seed = 7\norder = \"in-order\"");
  EXPECT_THAT(complaint(in_order + rhythms + call_block + block_of("help", 4) + sequential),
              AllOf(StartsWith("knock.toml:5:"), HasSubstr("in-order"), HasSubstr("interleaved")));
  EXPECT_EQ(complaint(in_order + rhythms + call_block + sequential), "no error");
  EXPECT_EQ(
      complaint(in_order + rhythms + call_block + block_of("help", 4) +
                "[accept]\nfalse_alarms_per_hour = { sequential = { good = 0.2, bad = 2 } }\n"),
      "no error")
      << "quiet alone may stop early";
}

TEST(ParseMargins, AreTheUsualOnesUnlessGiven) {
  const Margins usual = parsed(before).margins;
  EXPECT_FALSE(usual.given);
  EXPECT_EQ(usual.detection, 0.03);
  EXPECT_FALSE(usual.alarm_ratio);
  const Margins given =
      parsed(before + "[compare]\nlatency_margin_ms = 20\nalarm_ratio = 3\nconfidence = 0.9\n")
          .margins;
  EXPECT_TRUE(given.given);
  EXPECT_EQ(given.detection, 0.03);
  EXPECT_EQ(given.latency_ms, 20.0);
  EXPECT_EQ(given.alarm_ratio, 3.0);
  EXPECT_EQ(given.confidence, 0.9);
}

TEST(ParseMargins, RefusesWhatIsNoMargin) {
  for (const char* line : {"detection_margin = -0.1", "detection_margin = 0.6",
                           "latency_margin_ms = -1", "alarm_ratio = 0.9", "confidence = 1"}) {
    EXPECT_THAT(complaint(before + "[compare]\n" + line + "\n"), HasSubstr("compare."));
  }
  EXPECT_THAT(complaint(before + "[compare]\ndetection_margins = 0.1\n"),
              HasSubstr("detection_margin"));
}

TEST(ParseReference, ReadsAllKeysAndDefaults) {
  const std::string needed = "every_trials = 50\nstrike_m_s = 0.8\ntransit_tolerance_ms = 0.5\n";
  const auto reference = parsed(before + "[reference]\n" + needed).reference;
  EXPECT_EQ(reference->every_trials, 50U);
  EXPECT_EQ(reference->taps, 3U);
  EXPECT_EQ(reference->strike, (StrikeSpeed{800'000}));
  EXPECT_EQ(reference->spacing, 600ms);
  EXPECT_EQ(reference->transit_tolerance, 500us);
  const auto other =
      parsed(before + "[reference]\n" + needed + "taps = 5\nspacing_ms = 700\n").reference;
  EXPECT_EQ(other->taps, 5U);
  EXPECT_EQ(other->spacing, 700ms);
}

TEST(ParseReference, RefusesWhatCannotBeMeant) {
  EXPECT_THAT(with_reference("every_trials = 0\n"),
              AllOf(StartsWith("knock.toml:16:16:"), HasSubstr("reference.every_trials")));
  EXPECT_THAT(with_reference("every_trials = 5\ntaps = 0\n"), HasSubstr("reference.taps"));
  EXPECT_THAT(with_reference("every_trials = 5\nstrike_m_s = [0.8]\n"), HasSubstr("a list"));
  EXPECT_THAT(with_reference("every_trials = 5\nstrike_m_s = 0.8\n"),
              HasSubstr("no value in \"reference.transit_tolerance_ms\""));
  EXPECT_THAT(with_reference("evry_trials = 5\n"), HasSubstr("did you mean \"every_trials\"?"));
}

}  // namespace
}  // namespace plexor::scenario
