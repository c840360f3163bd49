#include <gtest/gtest.h>

#include <array>
#include <numeric>
#include <stdexcept>

#include "analysis/comparing/paired.hpp"
#include "analysis/comparing_brute_force.hpp"

namespace plexor::analysis {
namespace {

constexpr double z95 = 1.959963984540054;
constexpr double z90 = 1.6448536269514722;

/// Tango's score with the likelihood maximised by a plain search for the share of pairs that only
/// the second answers.
double slow_score(const Pairs& pairs, double difference) {
  const auto first_only = static_cast<double>(pairs.first_only);
  const auto second_only = static_cast<double>(pairs.second_only);
  const auto alike = static_cast<double>(pairs.both + pairs.neither);
  const auto part = [](double count, double share) {
    return count == 0.0 ? 0.0 : count * std::log(share);
  };
  const auto log_likelihood = [&](double share) {
    return part(second_only, share) + part(first_only, share + difference) +
           part(alike, 1.0 - 2.0 * share - difference);
  };
  double low = std::max(0.0, -difference);
  double high = (1.0 - difference) / 2.0;
  for (int step = 0; step < 200; ++step) {
    const double left = low + (high - low) / 3.0;
    const double right = high - (high - low) / 3.0;
    if (log_likelihood(left) < log_likelihood(right))
      low = left;
    else
      high = right;
  }
  const auto n = static_cast<double>(pairs.count());
  const double variance =
      n * (2.0 * std::midpoint(low, high) + difference - difference * difference);
  return (first_only - second_only - n * difference) / std::sqrt(variance);
}

TEST(Tango, EndsWhereTheScoreOfALikelihoodSearchReachesTheLimit) {
  for (const Pairs& pairs : {Pairs{20, 12, 2, 16}, Pairs{43, 0, 1, 0}, Pairs{0, 5, 5, 0},
                             Pairs{3, 7, 0, 1}, Pairs{900, 30, 45, 25}, Pairs{1, 1, 1, 1}}) {
    const Interval ends = tango_difference(pairs, 0.95, Sides::two);
    EXPECT_NEAR(slow_score(pairs, ends.lower), z95, 1e-6) << pairs.both;
    EXPECT_NEAR(slow_score(pairs, ends.upper), -z95, 1e-6) << pairs.both;
  }
}

TEST(Tango, GivesThePublishedValuesOfTheContactLensTrial) {
  // Tango 1998, Stat Med 17:891: two disinfection systems on 44 eyes, margin 0.1: Z = 1.709,
  // p = 0.044; 90 % interval -0.096 to 0.037. From memory.
  const Pairs lenses{.both = 43, .first_only = 0, .second_only = 1, .neither = 0};
  EXPECT_NEAR(tango_noninferiority(lenses, 0.1), 0.044, 0.0005);
  const Interval ends = tango_difference(lenses, 0.90, Sides::two);
  EXPECT_NEAR(ends.lower, -0.096, 0.0005);
  EXPECT_NEAR(ends.upper, 0.037, 0.0005);
}

TEST(Tango, WithoutDifferingPairsHasAClosedForm) {
  const Interval ends = tango_difference({30, 0, 0, 10}, 0.95, Sides::two);
  EXPECT_NEAR(ends.upper, z95 * z95 / (40.0 + z95 * z95), 1e-12);
  EXPECT_NEAR(ends.lower, -ends.upper, 1e-12);
}

TEST(Tango, EndsAtOneWhereAllPairsDifferInOneDirection) {
  const Interval first = tango_difference({0, 12, 0, 0}, 0.95, Sides::two);
  EXPECT_EQ(first.upper, 1.0);
  EXPECT_LT(first.lower, 1.0);
  const Interval second = tango_difference({0, 0, 12, 0}, 0.95, Sides::two);
  EXPECT_EQ(second.lower, -1.0);
  EXPECT_NEAR(second.upper, -first.lower, 1e-12);
}

TEST(Tango, ChangesItsSignWithTheOrder) {
  const Interval there = tango_difference({5, 9, 2, 7}, 0.9, Sides::lower);
  const Interval back = tango_difference({5, 2, 9, 7}, 0.9, Sides::upper);
  EXPECT_NEAR(there.lower, -back.upper, 1e-12);
  EXPECT_EQ(there.upper, 1.0);
  EXPECT_EQ(back.lower, -1.0);
}

TEST(Tango, MarginOfTheLowerEndIsJustShown) {
  const Pairs pairs{80, 6, 9, 5};
  const Interval ends = tango_difference(pairs, 0.95, Sides::lower);
  EXPECT_NEAR(slow_score(pairs, ends.lower), z90, 1e-6);
  EXPECT_NEAR(tango_noninferiority(pairs, -ends.lower), 0.05, 1e-9);
}

TEST(Tango, ClaimsNothingWithoutPairsAndRefusesWrongArguments) {
  const Interval nothing = tango_difference({}, 0.95, Sides::two);
  EXPECT_EQ(nothing.lower, -1.0);
  EXPECT_EQ(nothing.upper, 1.0);
  EXPECT_EQ(tango_noninferiority({}, 0.1), 1.0);
  EXPECT_THROW((void)tango_difference({1, 1, 1, 1}, 1.0, Sides::two), std::domain_error);
  EXPECT_THROW((void)tango_difference({1, 1, 1, 1}, 0.3, Sides::lower), std::domain_error);
  EXPECT_THROW((void)tango_noninferiority({1, 1, 1, 1}, 1.0), std::domain_error);
}

/// Coverage of the interval where pairs differ with these probabilities, counted over all tables.
double coverage_at(const std::vector<Interval>& by_counts, std::uint64_t n, double first_only,
                   double second_only) {
  double covered = 0.0;
  for (std::uint64_t b = 0; b <= n; ++b)
    for (std::uint64_t c = 0; b + c <= n; ++c) {
      const Interval& ends = by_counts[b * (n + 1) + c];
      const double truth = first_only - second_only;
      if (ends.lower <= truth + 1e-12 && truth - 1e-12 <= ends.upper)
        covered += binomial_mass(b, n, first_only) *
                   binomial_mass(c, n - b, second_only / (1.0 - first_only));
    }
  return covered;
}

TEST(Tango, CoversAboutAsOftenAsItSays) {
  for (const std::uint64_t n : {15U, 40U}) {
    std::vector<Interval> by_counts((n + 1) * (n + 1));
    for (std::uint64_t b = 0; b <= n; ++b)
      for (std::uint64_t c = 0; b + c <= n; ++c)
        by_counts[b * (n + 1) + c] = tango_difference({n - b - c, b, c, 0}, 0.95, Sides::two);
    double least = 1.0;
    double sum = 0.0;
    int points = 0;
    for (double first_only = 0.02; first_only < 0.9; first_only += 0.06)
      for (double second_only = 0.02; first_only + second_only < 0.97; second_only += 0.06) {
        const double coverage = coverage_at(by_counts, n, first_only, second_only);
        least = std::min(least, coverage);
        sum += coverage;
        ++points;
      }
    EXPECT_GT(least, 0.92) << n;
    EXPECT_NEAR(sum / points, 0.953, 0.01) << n;
  }
}

TEST(McNemarExact, IsASignTest) {
  for (std::uint64_t b = 0; b <= 9; ++b)
    for (std::uint64_t c = 0; c <= 9; ++c) {
      double greater = 0.0;
      for (std::uint64_t k = b; k <= b + c; ++k) greater += binomial_mass(k, b + c, 0.5);
      const PValues p = mcnemar_exact(b, c);
      EXPECT_NEAR(p.greater, greater, 1e-13);
      EXPECT_NEAR(p.less, mcnemar_exact(c, b).greater, 1e-13);
      EXPECT_NEAR(p.two_sided, std::min(1.0, 2.0 * std::min(p.greater, p.less)), 1e-13);
    }
}

}  // namespace
}  // namespace plexor::analysis
