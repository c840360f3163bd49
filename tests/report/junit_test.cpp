#include "report/junit.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "report/results_builder.hpp"

namespace plexor::report {
namespace {

using analysis::Judgement;
using testing::HasSubstr;
using testing::Not;

analysis::Results small_run() { return results_of({.trials = 10, .quiet_s = 600}); }

/// One verdict, judged so.
analysis::Results judged(Judgement judgement) {
  analysis::Results results = small_run();
  results.verdicts.resize(1);
  results.verdicts[0].judgement = judgement;
  results.verdicts[0].reason = "271 of 320 heard";
  results.overall = judgement;
  return results;
}

TEST(Junit, HasNoFailureWhenAllPasses) {
  const std::string xml = junit_xml(judged(Judgement::pass));
  EXPECT_THAT(xml, HasSubstr(R"(tests="2" failures="0" errors="0")"));
  EXPECT_THAT(xml, Not(HasSubstr("<failure")));
  EXPECT_THAT(xml, Not(HasSubstr("<error")));
}

TEST(Junit, WritesAFailedLimitAsAFailureWithItsReason) {
  const std::string xml = junit_xml(judged(Judgement::fail));
  EXPECT_THAT(xml, HasSubstr(R"(<failure type="fail" message="271 of 320 heard">271 of 320)"));
  EXPECT_THAT(xml, HasSubstr(R"(failures="1" errors="0")"))
      << "the run as a whole must not count the limit again";
}

TEST(Junit, WritesAnUndecidedLimitAsAnError) {
  const std::string xml = junit_xml(judged(Judgement::undecided));
  EXPECT_THAT(xml, HasSubstr(R"(<error type="undecided" message="271 of 320 heard")"));
  EXPECT_THAT(xml, HasSubstr(R"(failures="0" errors="2")"));
}

TEST(Junit, IsNotGreenWhenOnlyTheRunAsAWholeIsUndecided) {
  analysis::Results results = judged(Judgement::pass);
  results.overall = Judgement::undecided;
  results.headline = "the run was interrupted";
  EXPECT_THAT(junit_xml(results),
              HasSubstr(R"(<error type="undecided" message="the run was interrupted")"));
}

TEST(Junit, HasASuiteForEachDeviceWithItsOwnVerdicts) {
  RunModel model{.trials = 10, .quiet_s = 600};
  model.devices = {{.name = "panel"}, {.name = "door"}};
  const std::string xml = junit_xml(results_of(model));
  EXPECT_THAT(xml, HasSubstr(R"(<testsuite name="panel" tests="4")"));
  EXPECT_THAT(xml, HasSubstr(R"(<testsuite name="door" tests="4")"));
  EXPECT_THAT(xml, HasSubstr(R"(<testsuite name="run" tests="1")"));
}

TEST(Junit, EscapesHostileNames) {
  const std::string xml = junit_xml(hostile_results());
  EXPECT_THAT(xml, Not(HasSubstr("<script")));
  EXPECT_THAT(xml, HasSubstr("&lt;/script&gt;&lt;script&gt;alert(1)&lt;/script&gt;&quot;&apos;"
                             "&amp;\xEF\xBF\xBD\xEF\xBF\xBD[31m"));
}

}  // namespace
}  // namespace plexor::report
