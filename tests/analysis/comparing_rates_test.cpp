#include <gtest/gtest.h>

#include <limits>
#include <stdexcept>

#include "analysis/comparing/rate_ratio.hpp"
#include "analysis/comparing_brute_force.hpp"

namespace plexor::analysis {
namespace {

// Published values stand in tests/reference (t03).

constexpr double infinity = std::numeric_limits<double>::infinity();

TEST(RateRatio, IntervalEndsWhereTheTestJustRejects) {
  for (const auto& [first, second] :
       {std::pair{Events{10, 4.0}, Events{30, 9.0}}, std::pair{Events{1, 0.1}, Events{2, 500.0}},
        std::pair{Events{40'000, 3.0}, Events{41'000, 3.0}}}) {
    const Interval ends = rate_ratio_interval(first, second, 0.95, Sides::two);
    EXPECT_NEAR(rate_ratio_exact(first, second, ends.lower).greater, 0.025, 1e-9);
    EXPECT_NEAR(rate_ratio_exact(first, second, ends.upper).less, 0.025, 1e-9);
  }
}

TEST(RateRatio, IsInvertedByTheOrder) {
  const Interval there = rate_ratio_interval({3, 10.0}, {8, 7.0}, 0.9, Sides::two);
  const Interval back = rate_ratio_interval({8, 7.0}, {3, 10.0}, 0.9, Sides::two);
  EXPECT_NEAR(there.lower * back.upper, 1.0, 1e-12);
  EXPECT_NEAR(there.upper * back.lower, 1.0, 1e-12);
  EXPECT_NEAR(rate_ratio_exact({3, 10.0}, {8, 7.0}).greater,
              rate_ratio_exact({8, 7.0}, {3, 10.0}).less, 1e-14);
}

TEST(RateRatio, OneSidedLeavesTheOtherSideOpen) {
  const Interval two = rate_ratio_interval({3, 10.0}, {8, 7.0}, 0.9, Sides::two);
  const Interval lower = rate_ratio_interval({3, 10.0}, {8, 7.0}, 0.95, Sides::lower);
  const Interval upper = rate_ratio_interval({3, 10.0}, {8, 7.0}, 0.95, Sides::upper);
  EXPECT_NEAR(lower.lower, two.lower, 1e-12);
  EXPECT_EQ(lower.upper, infinity);
  EXPECT_NEAR(upper.upper, two.upper, 1e-12);
  EXPECT_EQ(upper.lower, 0.0);
}

TEST(RateRatio, WithoutEventsClaimsNothing) {
  const Interval nothing = rate_ratio_interval({0, 1.0}, {0, 2.0}, 0.95, Sides::two);
  EXPECT_EQ(nothing.lower, 0.0);
  EXPECT_EQ(nothing.upper, infinity);
  EXPECT_EQ(rate_ratio_exact({0, 1.0}, {0, 2.0}).two_sided, 1.0);
}

TEST(RateRatio, CoversAtLeastAsOftenAsItSays) {
  constexpr std::uint64_t most = 40;  // P(more) < 1e-9 at these means
  for (const double first_mean : {0.3, 2.0, 10.0})
    for (const double second_mean : {0.5, 4.0, 9.0}) {
      const double truth = first_mean / 2.0 / (second_mean / 3.0);
      double covered = 0.0;
      for (std::uint64_t a = 0; a <= most; ++a)
        for (std::uint64_t b = 0; b <= most; ++b) {
          const Interval ends = rate_ratio_interval({a, 2.0}, {b, 3.0}, 0.9, Sides::two);
          if (ends.lower <= truth && truth <= ends.upper)
            covered += poisson_mass(a, first_mean) * poisson_mass(b, second_mean);
        }
      EXPECT_GE(covered, 0.9) << first_mean << " " << second_mean;
    }
}

TEST(RateRatio, RefusesWrongArguments) {
  EXPECT_THROW((void)rate_ratio_exact({1, 0.0}, {1, 1.0}), std::domain_error);
  EXPECT_THROW((void)rate_ratio_exact({1, 1.0}, {1, infinity}), std::domain_error);
  EXPECT_THROW((void)rate_ratio_exact({1, 1.0}, {1, 1.0}, 0.0), std::domain_error);
  EXPECT_THROW((void)rate_ratio_interval({1, -1.0}, {1, 1.0}, 0.9, Sides::two), std::domain_error);
  EXPECT_THROW((void)rate_ratio_interval({1, 1.0}, {1, 1.0}, 1.0, Sides::two), std::domain_error);
}

}  // namespace
}  // namespace plexor::analysis
