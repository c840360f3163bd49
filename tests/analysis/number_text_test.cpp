#include "analysis/number_text.hpp"

#include <gtest/gtest.h>

namespace plexor::analysis {
namespace {

TEST(NumberText, SharesAreInPercentWithOneDecimal) {
  EXPECT_EQ(figure_text(271.0 / 320.0, ""), "84.7 %");
  EXPECT_EQ(figure_text(1.0, ""), "100.0 %");
  EXPECT_EQ(figure_text(0.0, ""), "0.0 %");
}

TEST(NumberText, ANearlyPerfectShareDoesNotReadAsPerfect) {
  EXPECT_EQ(figure_text(0.9997, ""), "99.97 %");
  EXPECT_EQ(figure_text(0.0003, ""), "0.03 %");
}

TEST(NumberText, TimesAndRatesHaveNoMoreDigitsThanUseful) {
  EXPECT_EQ(figure_text(612.34, "ms"), "612 ms");
  EXPECT_EQ(figure_text(61.234, "ms"), "61.2 ms");
  EXPECT_EQ(figure_text(2.25, "/h"), "2.25 per hour");
  EXPECT_EQ(figure_text(123.4, "/h"), "123 per hour");
}

TEST(NumberText, LimitsReadAsTheyWereWritten) {
  EXPECT_EQ(limit_text(0.95, ""), "95 %");
  EXPECT_EQ(limit_text(0.995, ""), "99.5 %");
  EXPECT_EQ(limit_text(900.0, "ms"), "900 ms");
  EXPECT_EQ(limit_text(0.5, "/h"), "0.5 per hour");
}

TEST(NumberText, ABoundNeverClaimsMoreThanWasShown) {
  EXPECT_EQ(bound_text(0.9599, 0.97, "", Rounding::down), "95.9 %");
  EXPECT_EQ(bound_text(0.8781, 0.95, "", Rounding::up), "87.9 %");
}

TEST(NumberText, ABoundCloseToItsLimitIsToldFromIt) {
  EXPECT_EQ(bound_text(0.9505, 0.95, "", Rounding::down), "95.05 %");
  EXPECT_EQ(bound_text(0.94998, 0.95, "", Rounding::up), "94.998 %");
  EXPECT_EQ(bound_text(900.3, 900.0, "ms", Rounding::down), "900.3 ms");
}

TEST(NumberText, AboutRoundsUpToTwoDigits) {
  EXPECT_EQ(about(7), 7U);
  EXPECT_EQ(about(99), 99U);
  EXPECT_EQ(about(953), 960U);
  EXPECT_EQ(about(12'001), 13'000U);
}

TEST(NumberText, OneIsSingular) {
  EXPECT_EQ(counted(1, "trial"), "1 trial");
  EXPECT_EQ(counted(0, "trial"), "0 trials");
}

}  // namespace
}  // namespace plexor::analysis
