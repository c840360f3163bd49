#include <gtest/gtest.h>

#include <array>
#include <numeric>
#include <stdexcept>

#include "analysis/comparing/two_proportions.hpp"
#include "analysis/comparing_brute_force.hpp"

namespace plexor::analysis {
namespace {

// Published values stand in tests/reference (t02). Here: what must hold for any input, edges, slow
// computations of the same, and coverage counted over all tables.

constexpr double z_at_95 = 1.959963984540054;
using Method = Interval (*)(Successes, Successes, double, Sides);
constexpr std::array<Method, 2> methods{newcombe_difference, miettinen_nurminen_difference};

double rate(Successes group) { return static_cast<double>(group.x) / static_cast<double>(group.n); }

/// The second rate of the largest likelihood among all pairs with this difference, by thirds.
double likeliest_second_rate(Successes first, Successes second, double difference) {
  const auto log_likelihood = [&](double p) {
    const auto part = [](Successes group, double q) {
      const double hits = group.x == 0 ? 0.0 : static_cast<double>(group.x) * std::log(q);
      const std::uint64_t misses = group.n - group.x;
      return hits + (misses == 0 ? 0.0 : static_cast<double>(misses) * std::log1p(-q));
    };
    return part(first, p + difference) + part(second, p);
  };
  double low = std::max(0.0, -difference);
  double high = std::min(1.0, 1.0 - difference);
  for (int step = 0; step < 200; ++step) {
    const double left = low + (high - low) / 3.0;
    const double right = high - (high - low) / 3.0;
    (log_likelihood(left) < log_likelihood(right) ? low : high) =
        log_likelihood(left) < log_likelihood(right) ? left : right;
  }
  return std::midpoint(low, high);
}

double slow_score(Successes first, Successes second, double difference) {
  const double q = likeliest_second_rate(first, second, difference);
  const double p = q + difference;
  const double trials = static_cast<double>(first.n + second.n);
  const double variance = (p * (1.0 - p) / static_cast<double>(first.n) +
                           q * (1.0 - q) / static_cast<double>(second.n)) *
                          trials / (trials - 1.0);
  return (rate(first) - rate(second) - difference) / std::sqrt(variance);
}

TEST(DifferenceOfProportions, ChangesItsSignWithTheOrder) {
  for (const Method method : methods) {
    for (const Sides sides : {Sides::two, Sides::lower, Sides::upper}) {
      const Sides other = sides == Sides::lower   ? Sides::upper
                          : sides == Sides::upper ? Sides::lower
                                                  : Sides::two;
      const Interval there = method({7, 9}, {2, 30}, 0.9, sides);
      const Interval back = method({2, 30}, {7, 9}, 0.9, other);
      EXPECT_NEAR(there.lower, -back.upper, 1e-12);
      EXPECT_NEAR(there.upper, -back.lower, 1e-12);
    }
  }
}

TEST(DifferenceOfProportions, OneSidedIsOneEndOfTheTwoSided) {
  for (const Method method : methods) {
    const Interval two = method({45, 50}, {40, 50}, 0.90, Sides::two);
    const Interval lower = method({45, 50}, {40, 50}, 0.95, Sides::lower);
    const Interval upper = method({45, 50}, {40, 50}, 0.95, Sides::upper);
    EXPECT_NEAR(lower.lower, two.lower, 1e-12);
    EXPECT_EQ(lower.upper, 1.0);
    EXPECT_NEAR(upper.upper, two.upper, 1e-12);
    EXPECT_EQ(upper.lower, -1.0);
  }
}

TEST(DifferenceOfProportions, OfAllAgainstNoneEndsAtOne) {
  for (const Method method : methods) {
    const Interval most = method({10, 10}, {0, 12}, 0.95, Sides::two);
    EXPECT_EQ(most.upper, 1.0);
    EXPECT_GT(most.lower, 0.5);
    EXPECT_LT(most.lower, 0.9);
  }
}

TEST(DifferenceOfProportions, WithoutTrialsClaimsNothing) {
  for (const Method method : methods) {
    const Interval nothing = method({0, 0}, {3, 5}, 0.95, Sides::two);
    EXPECT_EQ(nothing.lower, -1.0);
    EXPECT_EQ(nothing.upper, 1.0);
  }
  EXPECT_EQ(score_noninferiority({3, 5}, {0, 0}, 0.1), 1.0);
  EXPECT_EQ(fisher_exact({0, 0}, {3, 5}).two_sided, 1.0);
}

TEST(DifferenceOfProportions, RefusesWrongArguments) {
  for (const Method method : methods) {
    EXPECT_THROW((void)method({6, 5}, {3, 5}, 0.95, Sides::two), std::domain_error);
    EXPECT_THROW((void)method({3, 5}, {3, 5}, 1.0, Sides::two), std::domain_error);
    EXPECT_THROW((void)method({3, 5}, {3, 5}, 0.0, Sides::two), std::domain_error);
    EXPECT_THROW((void)method({3, 5}, {3, 5}, 0.4, Sides::lower), std::domain_error);
  }
  EXPECT_THROW((void)score_noninferiority({3, 5}, {3, 5}, 1.0), std::domain_error);
  EXPECT_THROW((void)score_noninferiority({3, 5}, {3, 5}, -0.1), std::domain_error);
  EXPECT_THROW((void)fisher_exact({3, 5}, {6, 5}), std::domain_error);
}

TEST(MiettinenNurminen, EndsWhereTheSlowScoreReachesTheLimit) {
  const std::vector<std::pair<Successes, Successes>> tables{{{9, 10}, {3, 10}},
                                                            {{0, 10}, {0, 20}},
                                                            {{0, 10}, {5, 7}},
                                                            {{45, 50}, {50, 50}},
                                                            {{999, 1000}, {990, 1000}}};
  for (const auto& [first, second] : tables) {
    const Interval ends = miettinen_nurminen_difference(first, second, 0.95, Sides::two);
    EXPECT_NEAR(slow_score(first, second, ends.lower), z_at_95, 1e-6) << first.x << " " << second.x;
    EXPECT_NEAR(slow_score(first, second, ends.upper), -z_at_95, 1e-6)
        << first.x << " " << second.x;
  }
}

TEST(MiettinenNurminen, MarginOfTheLowerEndIsJustShown) {
  const Interval ends = miettinen_nurminen_difference({90, 100}, {92, 100}, 0.95, Sides::lower);
  EXPECT_NEAR(score_noninferiority({90, 100}, {92, 100}, -ends.lower), 0.05, 1e-9);
  EXPECT_LT(score_noninferiority({90, 100}, {92, 100}, -ends.lower + 0.01), 0.05);
  EXPECT_GT(score_noninferiority({90, 100}, {92, 100}, -ends.lower - 0.01), 0.05);
}

TEST(FisherExact, AgreesWithTheSumOverAllTables) {
  for (std::uint64_t n1 = 1; n1 <= 7; ++n1) {
    for (std::uint64_t n2 = 1; n2 <= 6; ++n2) {
      for (std::uint64_t x1 = 0; x1 <= n1; ++x1) {
        for (std::uint64_t x2 = 0; x2 <= n2; ++x2) {
          const auto mass = [&](std::uint64_t k) {
            const std::uint64_t total = x1 + x2;
            if (k > n1 || k > total || total - k > n2) return 0.0;
            return std::exp(log_choose(n1, k) + log_choose(n2, total - k) -
                            log_choose(n1 + n2, total));
          };
          PValues sums{.two_sided = 0.0, .greater = 0.0, .less = 0.0};
          for (std::uint64_t k = 0; k <= n1; ++k) {
            if (k >= x1) sums.greater += mass(k);
            if (k <= x1) sums.less += mass(k);
            if (mass(k) <= mass(x1) * (1.0 + 1e-7)) sums.two_sided += mass(k);
          }
          const PValues p = fisher_exact({x1, n1}, {x2, n2});
          EXPECT_NEAR(p.greater, sums.greater, 1e-13);
          EXPECT_NEAR(p.less, sums.less, 1e-13);
          EXPECT_NEAR(p.two_sided, sums.two_sided, 1e-13)
              << x1 << "/" << n1 << " " << x2 << "/" << n2;
        }
      }
    }
  }
}

TEST(FisherExact, KeepsItsDigitsFarOutAndWithMillions) {
  const PValues far = fisher_exact({400, 400}, {0, 400});
  EXPECT_NEAR(far.greater / std::exp(-log_choose(800, 400)), 1.0, 1e-9);
  EXPECT_EQ(far.less, 1.0);
  const PValues million = fisher_exact({500'500, 1'000'000}, {499'500, 1'000'000});
  const double z = (1000.0 - 1.0) / std::sqrt(2e6 * 0.25);  // with continuity correction
  EXPECT_NEAR(million.greater, 0.5 * std::erfc(z / std::sqrt(2.0)), 1e-6);
  EXPECT_NEAR(million.two_sided, 2.0 * million.greater, 1e-10);
}

/// Coverage over a grid of true rates, counted over all tables.
struct Coverage {
  double least = 1.0;
  double mean = 0.0;
};

Coverage coverage_of(Method method, std::uint64_t n1, std::uint64_t n2) {
  std::vector<Interval> intervals;
  for (std::uint64_t x1 = 0; x1 <= n1; ++x1)
    for (std::uint64_t x2 = 0; x2 <= n2; ++x2)
      intervals.push_back(method({x1, n1}, {x2, n2}, 0.95, Sides::two));
  Coverage coverage;
  int points = 0;
  for (double p1 = 0.025; p1 < 1.0; p1 += 0.05) {
    for (double p2 = 0.025; p2 < 1.0; p2 += 0.05) {
      double covered = 0.0;
      for (std::uint64_t x1 = 0; x1 <= n1; ++x1)
        for (std::uint64_t x2 = 0; x2 <= n2; ++x2) {
          const Interval& ends = intervals[x1 * (n2 + 1) + x2];
          if (ends.lower <= p1 - p2 + 1e-12 && p1 - p2 - 1e-12 <= ends.upper)
            covered += binomial_mass(x1, n1, p1) * binomial_mass(x2, n2, p2);
        }
      coverage.least = std::min(coverage.least, covered);
      coverage.mean += covered;
      ++points;
    }
  }
  coverage.mean /= points;
  return coverage;
}

TEST(DifferenceOfProportions, CoversAboutAsOftenAsItSays) {
  const std::vector<std::pair<std::uint64_t, std::uint64_t>> sizes{{10, 10}, {15, 30}, {40, 40}};
  for (const auto& [n1, n2] : sizes) {
    for (const Method method : methods) {
      const Coverage coverage = coverage_of(method, n1, n2);
      EXPECT_GT(coverage.least, 0.90) << n1 << " " << n2;
      EXPECT_NEAR(coverage.mean, 0.955, 0.012) << n1 << " " << n2;
    }
  }
}

}  // namespace
}  // namespace plexor::analysis
