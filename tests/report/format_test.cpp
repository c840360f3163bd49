#include "report/format.hpp"

#include <gtest/gtest.h>

#include <limits>

namespace plexor::report {
namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();

analysis::Interval interval(double lower, double upper, analysis::Sides sides) {
  return {lower, upper, 0.95, sides, "Clopper-Pearson"};
}

TEST(IntervalText, RoundsBoundsOutwards) {
  EXPECT_EQ(interval_text(interval(0.9516, 0.9712, analysis::Sides::two), ""), "95.1 % to 97.2 %");
  EXPECT_EQ(interval_text(interval(801.2, 899.2, analysis::Sides::two), "ms"), "801 ms to 900 ms");
}

TEST(IntervalText, NeverLetsABoundReadLikeTheLimitItMissed) {
  const std::string text = interval_text(interval(0.94996, 1.0, analysis::Sides::lower), "", 0.95);
  EXPECT_EQ(text, "at least 94.9 %");
}

TEST(IntervalText, NamesTheBoundThatIsMissing) {
  EXPECT_EQ(interval_text(interval(700.0, infinity, analysis::Sides::two), "ms"),
            "at least 700 ms, no upper bound");
  EXPECT_EQ(interval_text(interval(-infinity, infinity, analysis::Sides::upper), "ms"),
            "no upper bound");
  EXPECT_EQ(interval_text(interval(infinity, infinity, analysis::Sides::lower), "ms"),
            "among those not heard");
}

TEST(ConfidenceText, SaysSidesAndMethod) {
  EXPECT_EQ(confidence_text(interval(0.9, 1.0, analysis::Sides::lower)),
            "95 % confidence, one-sided, Clopper-Pearson");
}

TEST(EstimateText, TellsUnansweredFromNotMeasured) {
  analysis::Verdict verdict;
  verdict.unit = "ms";
  EXPECT_EQ(estimate_text(verdict), "not measured");
  verdict.n = 320;
  EXPECT_EQ(estimate_text(verdict), "not heard");
}

TEST(Count, GroupsThousands) {
  EXPECT_EQ(count(320), "320");
  EXPECT_EQ(count(1'234'567), "1\u00a0234\u00a0567");
}

TEST(Trimmed, DropsZerosAtTheEnd) {
  EXPECT_EQ(trimmed(190.0, 1), "190");
  EXPECT_EQ(trimmed(12.54, 1), "12.5");
  EXPECT_EQ(trimmed(-0.01, 1), "0");
}

TEST(ClockTime, CountsHoursWithoutEnd) { EXPECT_EQ(clock_time(90'061.5), "25:01:01.500"); }

TEST(LengthOfTime, GivesTheTwoLargestUnits) {
  EXPECT_EQ(length_of_time(48.0), "48 s");
  EXPECT_EQ(length_of_time(125.0), "2 min 05 s");
  EXPECT_EQ(length_of_time(7'500.0), "2 h 05 min");
}

TEST(Count, IsGroupedFromFiveDigitsOn) {
  EXPECT_EQ(count(1200), "1200");
  EXPECT_EQ(count(12'000),
            "12\xC2\xA0"
            "000");
}

}  // namespace
}  // namespace plexor::report
