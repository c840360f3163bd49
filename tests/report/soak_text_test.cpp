#include "report/soak_text.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "report/json.hpp"
#include "report/night_builder.hpp"
#include "report/page.hpp"
#include "report/results_builder.hpp"
#include "report/terminal.hpp"

namespace plexor::report {

namespace {

using ::testing::AllOf;
using ::testing::Contains;
using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::Not;
using ::testing::StartsWith;

const analysis::Results& night() {
  static const analysis::Results results = night_results();
  return results;
}

TEST(CourseSentences, TellHolesDisturbancesAndPowerCycles) {
  // The hole: three hours of 20 trials, 3 min each less what the segment's begin takes.
  EXPECT_THAT(
      course_sentences(night()),
      ElementsAre(
          AllOf(StartsWith("not watched for 2 h 41 min after 01:28 ("),
                HasSubstr(" of the run): the computer began anew")),
          "disturbed by footsteps (told by mat): 6 marks (1.2 min of quiet left out), 6 alarms in "
          "it counted apart",
          "disturbed by kiln door: 4 marks by hand (2.1 min of quiet left out), 4 alarms in it "
          "counted apart",
          HasSubstr("panel: power taken away and given back 1 time, last at"),
          "panel could not be heard for 41 s in all"));
}

TEST(HoleText, SaysWhyAndWhenAsFarAsThatIsKnown) {
  analysis::Results results;
  results.holes = {{.cause = analysis::Hole::Cause::killed, .begins_s = 3725.0, .length_s = {}}};
  EXPECT_EQ(hole_text(results, results.holes.front()),
            "not watched for an unknown time after 1:02:05 of the run: the program was killed or "
            "crashed, the computer went on");
  results.holes.front() = {
      .cause = analysis::Hole::Cause::interrupted, .begins_s = 60.0, .length_s = 90.0};
  EXPECT_EQ(hole_text(results, results.holes.front()),
            "not watched for 1 min 30 s after 0:01:00 of the run: the run was stopped and resumed");
}

TEST(CourseSentences, TellManyHolesTogether) {
  analysis::Results results;
  results.holes.resize(40);
  const auto sentences = course_sentences(results);
  EXPECT_EQ(sentences.size(), 13U);
  EXPECT_EQ(sentences.back(), "and 28 more stretches not watched; results.json has them all");
}

TEST(Summary, OfANightSaysWhatDriftedAndWhatHappened) {
  const std::string text = summary(night(), {.colour = false, .width = 400});
  EXPECT_THAT(text, HasSubstr("hour by hour (9 hours): panel's latency median rose from"));
  EXPECT_THAT(text, HasSubstr("; the tapper moved too: "));
  EXPECT_THAT(text, HasSubstr("\nnot watched for 2 h 41 min"));
  EXPECT_THAT(text, HasSubstr("  panel: detection "));
}

TEST(Summary, OfARunThatGoesOnSaysSo) {
  const analysis::Results results =
      results_of({.trials = 8, .quiet_s = 60, .complete = false, .live = true});
  const std::string text = summary(results, {.colour = false, .width = 400});
  EXPECT_THAT(text, StartsWith("UNDECIDED  So far: the run still goes on; "));
  EXPECT_THAT(text, HasSubstr("\nthe run still goes on: all figures are so far\n"));
  EXPECT_THAT(text, Not(HasSubstr("did not finish")));
  EXPECT_THAT(report_page(results),
              HasSubstr("The run still goes on: everything on this page is so far."));
}

TEST(Page, OfANightHasItsHours) {
  const std::string page = report_page(night());
  EXPECT_THAT(page, HasSubstr("Hour by hour"));
  EXPECT_THAT(page, HasSubstr("data-chart=\"hourRate\""));
  EXPECT_THAT(page, HasSubstr("data-chart=\"dayHours\""));
  EXPECT_THAT(page, HasSubstr("Not watched for 2 h 41 min after 01:28"));
  EXPECT_THAT(report_page(results_of({.trials = 8, .quiet_s = 60})),
              Not(HasSubstr("Hour by hour")));
}

TEST(ResultsJson, OfANightHasItsHours) {
  const std::string text = results_json(night());
  EXPECT_THAT(text, HasSubstr("\"cause\": \"reboot\""));
  EXPECT_THAT(text, HasSubstr("\"after_local\": \"01:28\""));
  EXPECT_THAT(text, HasSubstr("\"figure\": \"coil temperature\""));
  EXPECT_THAT(results_json(results_of({.trials = 8, .quiet_s = 60})), HasSubstr("\"soak\": null"));
}

}  // namespace
}  // namespace plexor::report
