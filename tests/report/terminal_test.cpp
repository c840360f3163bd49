#include "report/terminal.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <sstream>

#include "report/results_builder.hpp"

namespace plexor::report {
namespace {

using testing::HasSubstr;
using testing::Not;
using testing::StartsWith;

analysis::Results small_summary() { return results_of({.trials = 20, .quiet_s = 600}); }

TEST(Summary, BeginsWithTheMarkAndTheHeadline) {
  analysis::Results results = small_summary();
  results.overall = analysis::Judgement::pass;
  results.headline = "Pass: panel heard 318 of 320 knocks";
  EXPECT_THAT(summary(results, {}), StartsWith("PASS  panel heard 318 of 320 knocks\n"));
}

TEST(Summary, SaysEveryVerdictInAWord) {
  analysis::Results results = small_summary();
  results.verdicts[0].judgement = analysis::Judgement::fail;
  results.verdicts[1].judgement = analysis::Judgement::pass;
  results.verdicts[2].judgement = analysis::Judgement::undecided;
  const std::string text = summary(results, {});
  EXPECT_THAT(text, HasSubstr("\n  FAIL       detection rate:"));
  EXPECT_THAT(text, HasSubstr("\n  PASS       latency p95:"));
  EXPECT_THAT(text, HasSubstr("\n  UNDECIDED  false alarms per hour:"));
}

TEST(Summary, ColoursOnlyWhereItMay) {
  EXPECT_THAT(summary(small_summary(), {.colour = false}), Not(HasSubstr("\x1b")));
  EXPECT_THAT(summary(small_summary(), {.colour = true}), HasSubstr("\x1b[1;"));
}

TEST(Summary, KeepsSentencesWithinTheWidth) {
  analysis::Results results = small_summary();
  for (int i = 0; i < 40; ++i) results.headline += " and so on";
  std::istringstream lines(summary(results, {.colour = false, .width = 80}));
  for (std::string line; std::getline(lines, line);) {
    EXPECT_TRUE(line.size() <= 80U || line.find("so on") == std::string::npos) << line;
  }
}

TEST(Summary, SetsTheLatenciesOfSeveralListenersSideBySide) {
  const Style plain{.colour = false, .width = 80};
  EXPECT_THAT(summary(small_summary(), plain), Not(HasSubstr("heard by")));
  const std::string two = summary(with_second_listener(small_summary(), 20.0), plain);
  EXPECT_THAT(two, AllOf(HasSubstr("heard by"), HasSubstr("broker"), HasSubstr("0.029 ms")));
}

TEST(Summary, HasNoControlCharactersFromOutside) {
  const std::string text = summary(hostile_results(), {.colour = false, .width = 80});
  EXPECT_EQ(text.find('\x1b'), std::string::npos);
  EXPECT_EQ(text.find('\x01'), std::string::npos);
}

TEST(Summary, CountsVoidsAndSaysWhatIsWrongWithTheRun) {
  analysis::Results results = small_summary();
  results.voids = {};
  results.voids[static_cast<std::size_t>(base::VoidReason::re_strike)] = 8;
  results.ended.reset();
  const std::string text = summary(results, {});
  EXPECT_THAT(text, HasSubstr("re-strike 8"));
  EXPECT_THAT(text, HasSubstr("the run did not finish: the journal just stops"));
}

}  // namespace
}  // namespace plexor::report
