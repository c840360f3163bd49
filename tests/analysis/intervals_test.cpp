#include "analysis/intervals.hpp"

#include <gtest/gtest.h>

#include <array>
#include <cmath>
#include <limits>

namespace plexor::analysis {
namespace {

// Published values stand in tests/reference (t01, t03, t04), which reference_test runs. Here: what
// must hold for any input, edges, and closed forms.

constexpr double infinity = std::numeric_limits<double>::infinity();
constexpr std::uint64_t billion = 1'000'000'000;

/// P(low <= B <= high) for a binomial B, summed term by term.
double binomial_sum(std::uint64_t low, std::uint64_t high, std::uint64_t n, double p) {
  const auto as_double = [](std::uint64_t k) { return static_cast<double>(k); };
  double sum = 0.0;
  for (std::uint64_t k = low; k <= high; ++k)
    sum += std::exp(std::lgamma(as_double(n) + 1) - std::lgamma(as_double(k) + 1) -
                    std::lgamma(as_double(n - k) + 1) + as_double(k) * std::log(p) +
                    as_double(n - k) * std::log1p(-p));
  return sum;
}

TEST(ClopperPearson, HasHalfTheErrorInEachTailAtItsBounds) {
  for (const std::uint64_t n : {1U, 2U, 7U, 60U, 400U}) {
    for (std::uint64_t x = 1; x < n; x += 1 + n / 9) {
      const Interval bounds = clopper_pearson(x, n, 0.95, Sides::two);
      EXPECT_NEAR(binomial_sum(x, n, n, bounds.lower), 0.025, 1e-10) << x << " of " << n;
      EXPECT_NEAR(binomial_sum(0, x, n, bounds.upper), 0.025, 1e-10) << x << " of " << n;
    }
  }
}

TEST(ClopperPearson, IsExactAtNoneAndAll) {
  for (const std::uint64_t n : {1U, 59U, 1'000'000U, 1'000'000'000U}) {
    const double exponent = 1.0 / static_cast<double>(n);
    const Interval none = clopper_pearson(0, n, 0.95, Sides::two);
    EXPECT_EQ(none.lower, 0.0);
    EXPECT_NEAR(none.upper / -std::expm1(std::log(0.025) * exponent), 1.0, 1e-12);
    const Interval all = clopper_pearson(n, n, 0.95, Sides::lower);
    EXPECT_EQ(all.upper, 1.0);
    EXPECT_NEAR(all.lower, std::pow(0.05, exponent), 1e-14);
  }
}

TEST(ClopperPearson, NearsThePoissonBoundsForRareEventsAmongABillion) {
  const Interval rare = clopper_pearson(5, billion, 0.95, Sides::two);
  const Interval rate = garwood(5, 1.0, 0.95, Sides::two);
  EXPECT_NEAR(rare.lower * 1e9 / rate.lower, 1.0, 1e-8);
  EXPECT_NEAR(rare.upper * 1e9 / rate.upper, 1.0, 1e-8);
}

TEST(ClopperPearson, NearsTheNormalBoundsInTheMiddleOfABillion) {
  const Interval half = clopper_pearson(billion / 2, billion, 0.95, Sides::two);
  const double half_width = 1.959963984540054 * std::sqrt(0.25 / 1e9);
  EXPECT_NEAR((0.5 - half.lower) / half_width, 1.0, 1e-4);
  EXPECT_NEAR(half.upper - 0.5, 0.5 - half.lower, 1e-12);
}

TEST(ClopperPearson, WithoutTrialsClaimsNothing) {
  const Interval nothing = clopper_pearson(0, 0, 0.95, Sides::two);
  EXPECT_EQ(nothing.lower, 0.0);
  EXPECT_EQ(nothing.upper, 1.0);
}

TEST(ClopperPearson, OneSidedClaimsOneBoundWithTheWholeError) {
  const Interval two = clopper_pearson(95, 100, 0.90, Sides::two);
  const Interval lower = clopper_pearson(95, 100, 0.95, Sides::lower);
  const Interval upper = clopper_pearson(95, 100, 0.95, Sides::upper);
  EXPECT_NEAR(lower.lower, two.lower, 1e-12);
  EXPECT_EQ(lower.upper, 1.0);
  EXPECT_NEAR(upper.upper, two.upper, 1e-12);
  EXPECT_EQ(upper.lower, 0.0);
}

TEST(ClopperPearson, SaysWhatItIs) {
  const Interval bounds = clopper_pearson(3, 5, 0.9, Sides::lower);
  EXPECT_EQ(bounds.method, "Clopper-Pearson");
  EXPECT_EQ(bounds.confidence, 0.9);
  EXPECT_EQ(bounds.sides, Sides::lower);
}

TEST(Wilson, SolvesTheScoreEquation) {
  const double z = 1.959963984540054;  // normal quantile at 0.975
  for (const double x : {1.0, 30.0, 99.0}) {
    const Interval bounds = wilson(static_cast<std::uint64_t>(x), 100, 0.95, Sides::two);
    for (const double p : {bounds.lower, bounds.upper})
      EXPECT_NEAR(std::abs(x / 100 - p), z * std::sqrt(p * (1 - p) / 100), 1e-12);
  }
}

TEST(Wilson, IsExactAtNoneAndAll) {
  for (const bool continuity : {false, true}) {
    EXPECT_EQ(wilson(0, 20, 0.95, Sides::two, continuity).lower, 0.0);
    EXPECT_EQ(wilson(20, 20, 0.95, Sides::two, continuity).upper, 1.0);
  }
}

TEST(Wilson, IsTheSameForMissesAsForHits) {
  for (const bool continuity : {false, true}) {
    for (std::uint64_t x = 0; x <= 12; ++x) {
      const Interval hits = wilson(x, 12, 0.9, Sides::two, continuity);
      const Interval misses = wilson(12 - x, 12, 0.9, Sides::two, continuity);
      EXPECT_NEAR(hits.lower, 1.0 - misses.upper, 1e-14);
      EXPECT_LE(hits.lower, static_cast<double>(x) / 12.0);
    }
  }
}

TEST(Wilson, WithoutTrialsClaimsNothing) {
  for (const bool continuity : {false, true}) {
    const Interval nothing = wilson(0, 0, 0.95, Sides::two, continuity);
    EXPECT_EQ(nothing.lower, 0.0);
    EXPECT_EQ(nothing.upper, 1.0);
  }
}

TEST(Wilson, IsWiderWithTheContinuityCorrection) {
  const Interval plain = wilson(15, 148, 0.95, Sides::two);
  const Interval corrected = wilson(15, 148, 0.95, Sides::two, true);
  EXPECT_LT(corrected.lower, plain.lower);
  EXPECT_GT(corrected.upper, plain.upper);
}

TEST(TrialsToShow, AreTheFewestThatDo) {
  for (const double rate : {0.5, 0.9, 0.95, 0.999}) {
    for (const std::uint64_t allowed : {0U, 1U, 5U}) {
      const std::uint64_t n = trials_to_show(rate, 0.95, allowed).value();
      EXPECT_LE(binomial_sum(0, allowed, n, 1.0 - rate), 0.05 * (1 + 1e-9));
      EXPECT_GT(binomial_sum(0, allowed, n - 1, 1.0 - rate), 0.05);
    }
  }
}

TEST(TrialsToShow, TakeADecimalTieAsATie) {
  EXPECT_EQ(trials_to_show(0.1, 0.9, 0), 1U);  // 0.1 <= 1 - 0.9, though not in binary
  EXPECT_EQ(trials_to_show(0.5, 0.75, 0), 2U);
}

TEST(TrialsToShow, EndTheSearchAtABillion) {
  EXPECT_EQ(trials_to_show(0.99999999, 0.95, 0), 299573225U);  // ln 0.05 / ln rate, rounded up
  EXPECT_EQ(trials_to_show(0.999999999, 0.95, 0), std::nullopt);
  EXPECT_EQ(trials_to_show(1.0, 0.95, 0), std::nullopt);
  EXPECT_EQ(trials_to_show(0.5, 0.95, billion), std::nullopt);
}

TEST(Garwood, WithoutEventsHasTheClosedForm) {
  EXPECT_NEAR(garwood(0, 10.0, 0.95, Sides::upper).upper, -std::log(0.05) / 10.0, 1e-14);
  EXPECT_EQ(garwood(0, 10.0, 0.95, Sides::two).lower, 0.0);
}

TEST(Garwood, ScalesWithTheExposure) {
  const Interval one = garwood(12, 1.0, 0.9, Sides::two);
  const Interval eight = garwood(12, 8.0, 0.9, Sides::two);
  EXPECT_NEAR(eight.lower, one.lower / 8.0, 1e-14);
  EXPECT_NEAR(eight.upper, one.upper / 8.0, 1e-14);
}

TEST(Garwood, LeavesTheOtherSideUnbounded) {
  EXPECT_EQ(garwood(12, 1.0, 0.9, Sides::lower).upper, infinity);
  EXPECT_EQ(garwood(12, 1.0, 0.9, Sides::upper).lower, 0.0);
}

TEST(Garwood, NearsTheNormalBoundsAtABillionEvents) {
  const Interval bounds = garwood(billion, 1.0, 0.95, Sides::two);
  const double half_width = 1.959963984540054 * std::sqrt(1e9);
  EXPECT_NEAR((1e9 - bounds.lower) / half_width, 1.0, 1e-4);
  EXPECT_NEAR((bounds.upper - 1e9) / half_width, 1.0, 1e-4);
}

TEST(Quantile, OfNothingIsNothing) {
  EXPECT_EQ(quantile_type7({}, 0.5), std::nullopt);
  EXPECT_EQ(quantile_type8({}, 0.5), std::nullopt);
}

TEST(Quantile, IsInfiniteWhereTheUnansweredBegin) {
  constexpr std::array values{10.0, 20.0, 30.0, infinity, infinity};
  EXPECT_EQ(quantile_type7(values, 0.25), 20.0);
  EXPECT_EQ(quantile_type7(values, 0.5), 30.0);  // just the last that answered: not infinity * 0
  EXPECT_EQ(quantile_type7(values, 0.51), infinity);
  EXPECT_EQ(quantile_type7(values, 0.9), infinity);  // not infinity - infinity
  EXPECT_EQ(quantile_type7(values, 1.0), infinity);
  EXPECT_EQ(quantile_type8(values, 0.5), 30.0);
  EXPECT_EQ(quantile_type8(values, 0.9), infinity);
}

TEST(Quantile, DoesNotTakeRoundingForAPositionBehindTheLastAnswer) {
  // 0.07 * 100 is a little above 7 in binary; the eighth of 101 values is meant.
  std::vector<double> values(101, infinity);
  for (std::size_t i = 0; i < 8; ++i) values[i] = static_cast<double>(i);
  EXPECT_EQ(quantile_type7(values, 0.07), 7.0);
}

TEST(Quantile, OfOneValueIsThatValue) {
  constexpr std::array value{4.0};
  for (const double p : {0.0, 0.3, 1.0}) {
    EXPECT_EQ(quantile_type7(value, p), 4.0);
    EXPECT_EQ(quantile_type8(value, p), 4.0);
  }
}

TEST(QuantileRanks, CoverAtLeastAsStatedAndNotWithNarrowerRanks) {
  for (const std::uint64_t n : {6U, 20U, 93U, 300U}) {
    for (const double p : {0.1, 0.5, 0.95}) {
      const OrderRanks ranks = quantile_ranks(n, p, 0.95, Sides::two);
      EXPECT_GE(ranks.coverage, 0.95 - 1e-12);
      EXPECT_GT(binomial_sum(0, ranks.lower, n, p), 0.025);  // one rank higher would miss too often
      if (ranks.lower > 0) {
        EXPECT_LE(binomial_sum(0, ranks.lower - 1, n, p), 0.025);
      }
      if (ranks.upper <= n) {
        EXPECT_LE(binomial_sum(ranks.upper, n, n, p), 0.025);
      }
      EXPECT_GT(binomial_sum(ranks.upper - 1, n, n, p), 0.025);
    }
  }
}

TEST(QuantileRanks, SayWhereThereIsNoLimit) {
  const OrderRanks one = quantile_ranks(1, 0.5, 0.95, Sides::two);
  EXPECT_EQ(one.lower, 0U);
  EXPECT_EQ(one.upper, 2U);
  EXPECT_EQ(one.coverage, 1.0);
  const OrderRanks none = quantile_ranks(0, 0.5, 0.95, Sides::two);
  EXPECT_EQ(none.lower, 0U);
  EXPECT_EQ(none.upper, 1U);
}

TEST(QuantileRanks, AreMirroredForTheMirroredQuantile) {
  const OrderRanks upper = quantile_ranks(500, 0.95, 0.99, Sides::upper);
  const OrderRanks lower = quantile_ranks(500, 0.05, 0.99, Sides::lower);
  EXPECT_EQ(lower.lower, 501U - upper.upper);
  EXPECT_EQ(lower.upper, 501U);
  EXPECT_EQ(upper.lower, 0U);
  EXPECT_NEAR(lower.coverage, upper.coverage, 1e-12);
}

TEST(QuantileRanks, OfABillionLieWhereTheNormalApproximationPutsThem) {
  const OrderRanks ranks = quantile_ranks(billion, 0.95, 0.95, Sides::two);
  const double half_width = 1.959963984540054 * std::sqrt(1e9 * 0.95 * 0.05);
  EXPECT_NEAR(static_cast<double>(ranks.lower), 0.95e9 - half_width, 2.0);
  EXPECT_NEAR(static_cast<double>(ranks.upper), 0.95e9 + half_width, 2.0);
  EXPECT_NEAR(ranks.coverage, 0.95, 1e-4);
}

TEST(DPrime, IsTheDistanceOfTheCorrectedRates) {
  // 9.5 / 11 against 1.5 / 11 and 80.5 / 101 against 10.5 / 51, by Python's statistics.NormalDist.
  EXPECT_NEAR(d_prime(9, 10, 1, 10).value(), 2.193607124187027, 1e-12);
  EXPECT_NEAR(d_prime(80, 100, 10, 50).value(), 1.6518505676289548, 1e-12);
}

TEST(DPrime, StaysFiniteForAPerfectDevice) {
  EXPECT_GT(d_prime(20, 20, 0, 20).value(), 3.0);
  EXPECT_TRUE(std::isfinite(d_prime(billion, billion, 0, billion).value()));
}

TEST(DPrime, IsZeroForADeviceThatGuesses) { EXPECT_NEAR(d_prime(7, 20, 7, 20).value(), 0, 1e-14); }

TEST(DPrime, NeedsBothKindsOfTrials) {
  EXPECT_EQ(d_prime(0, 0, 1, 10), std::nullopt);
  EXPECT_EQ(d_prime(1, 10, 0, 0), std::nullopt);
}

TEST(Intervals, RefuseWhatMakesNoSense) {
  EXPECT_THROW((void)clopper_pearson(6, 5, 0.95, Sides::two), std::invalid_argument);
  EXPECT_THROW((void)clopper_pearson(1, 5, 1.0, Sides::two), std::invalid_argument);
  EXPECT_THROW((void)wilson(1, 5, std::nan(""), Sides::two), std::invalid_argument);
  EXPECT_THROW((void)garwood(1, 0.0, 0.95, Sides::two), std::invalid_argument);
  EXPECT_THROW((void)quantile_ranks(5, 1.5, 0.95, Sides::two), std::invalid_argument);
  EXPECT_THROW((void)trials_to_show(-0.1, 0.95, 0), std::invalid_argument);
  EXPECT_THROW((void)d_prime(2, 1, 0, 1), std::invalid_argument);
}

}  // namespace
}  // namespace plexor::analysis
