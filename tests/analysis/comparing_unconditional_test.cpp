#include <gtest/gtest.h>

#include <array>
#include <numbers>
#include <stdexcept>

#include "analysis/comparing/largest_mean.hpp"
#include "analysis/comparing/two_proportions.hpp"
#include "analysis/comparing_brute_force.hpp"

namespace plexor::analysis {
namespace {

// Published values stand in tests/reference (t02b).

using Exact = NamedP (*)(Successes, Successes, Alternative);
constexpr std::array<Alternative, 3> alternatives{Alternative::two_sided, Alternative::greater,
                                                  Alternative::less};

/// What makes a table extreme; smaller is more extreme.
using Extremeness = double (*)(Successes, Successes, Alternative);

double by_fisher(Successes first, Successes second, Alternative alternative) {
  return fisher_exact(first, second).of(alternative);
}

double by_wald(Successes first, Successes second, Alternative alternative) {
  const auto n1 = static_cast<double>(first.n);
  const auto n2 = static_cast<double>(second.n);
  const double pooled = static_cast<double>(first.x + second.x) / (n1 + n2);
  const double variance = pooled * (1.0 - pooled) * (1.0 / n1 + 1.0 / n2);
  const double difference = static_cast<double>(first.x) / n1 - static_cast<double>(second.x) / n2;
  const double statistic = variance > 0.0 ? difference / std::sqrt(variance) : 0.0;
  if (alternative == Alternative::two_sided) return -std::abs(statistic);
  return alternative == Alternative::greater ? -statistic : statistic;
}

/// The largest probability, on a fine grid of rates, of all tables at least as extreme as this one.
double slow_p(Extremeness extremeness, Successes first, Successes second, Alternative alternative) {
  const double seen = extremeness(first, second, alternative);
  std::vector<Successes> extreme;  // x: of the first, n: of the second
  for (std::uint64_t x1 = 0; x1 <= first.n; ++x1)
    for (std::uint64_t x2 = 0; x2 <= second.n; ++x2)
      if (extremeness({x1, first.n}, {x2, second.n}, alternative) <= seen + 1e-9)
        extreme.push_back({x1, x2});
  constexpr int steps = 3000;
  double largest = 0.0;
  for (int step = 0; step <= steps; ++step) {
    const double rate = std::pow(std::sin(step * std::numbers::pi / 2.0 / steps), 2);
    std::vector<double> of_first;
    std::vector<double> of_second;
    for (std::uint64_t x = 0; x <= first.n; ++x)
      of_first.push_back(binomial_mass(x, first.n, rate));
    for (std::uint64_t x = 0; x <= second.n; ++x)
      of_second.push_back(binomial_mass(x, second.n, rate));
    double sum = 0.0;
    for (const Successes& table : extreme) sum += of_first[table.x] * of_second[table.n];
    largest = std::max(largest, sum);
  }
  return largest;
}

// The grid is coarser than the search, so it finds a little less: at most 4 N (step / 2)^2 / 2.
void expect_about(double p, double slow, std::uint64_t trials, const char* what) {
  const double half_step = std::numbers::pi / 4.0 / 3000;
  EXPECT_GT(p, slow - 3e-7) << what;
  EXPECT_LT(p, slow + 2.0 * static_cast<double>(trials) * half_step * half_step + 1e-12) << what;
}

TEST(LargestMean, OfOneTotalIsItsLargestBinomialProbability) {
  // So narrow a peak lies between the angles tried first, where the mean is flat and next to
  // nothing.
  for (const std::uint64_t trials : {1U, 30U, 200'000U}) {
    for (const std::uint64_t total : {trials / 3, trials / 2, trials - trials / 2000}) {
      comparing::ByTotal probability(trials + 1, 0.0);
      probability[total] = 0.8;
      const double rate = static_cast<double>(total) / static_cast<double>(trials);
      const double largest = comparing::largest_mean(probability);
      EXPECT_NEAR(largest, 0.8 * binomial_mass(total, trials, rate), 0.8 * 2.5e-7) << total;
    }
  }
}

TEST(LargestMean, OfEqualProbabilitiesIsTheirs) {
  EXPECT_EQ(comparing::largest_mean(comparing::ByTotal(5000, 0.25)), 0.25);
}

TEST(UnconditionalTests, AreTheLargestProbabilityOverTheCommonRate) {
  Draws draws(41);
  for (int round = 0; round < 60; ++round) {
    const std::uint64_t n1 = 1 + draws.below(12);
    const std::uint64_t n2 = 1 + draws.below(12);
    const Successes first{draws.below(n1 + 1), n1};
    const Successes second{draws.below(n2 + 1), n2};
    for (const Alternative alternative : alternatives)
      expect_about(barnard_exact(first, second, alternative).p,
                   slow_p(by_wald, first, second, alternative), n1 + n2, "Barnard");
    for (const Alternative alternative : {Alternative::greater, Alternative::less})
      expect_about(boschloo_exact(first, second, alternative).p,
                   slow_p(by_fisher, first, second, alternative), n1 + n2, "Boschloo");
  }
}

TEST(Boschloo, TwoSidedIsTwiceTheSmallerOneSided) {
  const double greater = boschloo_exact({9, 10}, {4, 11}, Alternative::greater).p;
  EXPECT_EQ(boschloo_exact({9, 10}, {4, 11}, Alternative::two_sided).p, 2.0 * greater);
  EXPECT_EQ(boschloo_exact({0, 3}, {0, 4}, Alternative::two_sided).p, 1.0);
}

TEST(Boschloo, IsNeverAboveFisher) {
  for (std::uint64_t x1 = 0; x1 <= 12; ++x1)
    for (std::uint64_t x2 = 0; x2 <= 9; ++x2)
      EXPECT_LE(boschloo_exact({x1, 12}, {x2, 9}, Alternative::greater).p,
                fisher_exact({x1, 12}, {x2, 9}).greater + 1e-12);
}

/// The largest probability, over the common rate, of a p-value of at most alpha.
double size_of(Exact test, std::uint64_t n1, std::uint64_t n2, Alternative alternative,
               double alpha) {
  std::vector<Successes> rejected;  // x: of the first, n: of the second
  for (std::uint64_t x1 = 0; x1 <= n1; ++x1)
    for (std::uint64_t x2 = 0; x2 <= n2; ++x2)
      if (test({x1, n1}, {x2, n2}, alternative).p <= alpha) rejected.push_back({x1, x2});
  double largest = 0.0;
  for (double rate = 0.001; rate < 1.0; rate += 0.001) {
    double sum = 0.0;
    for (const Successes& table : rejected)
      sum += binomial_mass(table.x, n1, rate) * binomial_mass(table.n, n2, rate);
    largest = std::max(largest, sum);
  }
  return largest;
}

TEST(UnconditionalTests, ErrNoOftenerThanTheySay) {
  const std::vector<std::pair<std::uint64_t, std::uint64_t>> sizes{
      {4, 4}, {7, 12}, {15, 15}, {20, 9}};
  for (const auto& [n1, n2] : sizes)
    for (const Exact test : {Exact{barnard_exact}, Exact{boschloo_exact}})
      for (const Alternative alternative : alternatives)
        for (const double alpha : {0.01, 0.05}) {
          const double size = size_of(test, n1, n2, alternative, alpha);
          EXPECT_LE(size, alpha + 1e-6) << n1 << " " << n2;
        }
}

TEST(Boschloo, UsesMoreOfTheAllowedErrorThanFisher) {
  const auto fisher = [](Successes first, Successes second, Alternative alternative) {
    return NamedP{fisher_exact(first, second).of(alternative), "Fisher"};
  };
  const double boschloo_size = size_of(boschloo_exact, 15, 15, Alternative::greater, 0.05);
  EXPECT_GT(boschloo_size, 0.035);
  EXPECT_GT(boschloo_size, size_of(fisher, 15, 15, Alternative::greater, 0.05) + 0.01);
}

TEST(Boschloo, KeepsItsDigitsFarOut) {
  // Only this table is as extreme, and all 1000 outcomes must be right: 2^-1000.
  const double p = boschloo_exact({500, 500}, {0, 500}, Alternative::greater).p;
  EXPECT_NEAR(p / std::pow(2.0, -1000.0), 1.0, 2e-5);
}

TEST(Boschloo, OfThousandsOfTrialsLiesJustBelowFisher) {
  const Successes first{1960, 2000};
  const Successes second{1935, 2000};
  const NamedP boschloo = boschloo_exact(first, second, Alternative::greater);
  const double fisher = fisher_exact(first, second).greater;
  EXPECT_EQ(boschloo.method, "Boschloo");
  EXPECT_LT(boschloo.p, fisher);
  EXPECT_GT(boschloo.p, 0.8 * fisher);
}

TEST(UnconditionalTests, SayWhereTheyGiveFishersPInstead) {
  const std::uint64_t half = most_unconditional_trials / 2;
  for (const Exact test : {Exact{barnard_exact}, Exact{boschloo_exact}}) {
    const NamedP most = test({half, half}, {half, half}, Alternative::greater);
    EXPECT_NE(most.method, "Fisher");
    const NamedP more = test({half, half + 1}, {half - 9, half}, Alternative::greater);
    EXPECT_EQ(more.method, "Fisher");
    EXPECT_EQ(more.p, fisher_exact({half, half + 1}, {half - 9, half}).greater);
    const NamedP both = test({half, half + 1}, {half - 9, half}, Alternative::two_sided);
    EXPECT_EQ(both.p, 2.0 * more.p);
  }
}

TEST(UnconditionalTests, FindNothingWithoutTrialsAndRefuseWrongOnes) {
  for (const Exact test : {Exact{barnard_exact}, Exact{boschloo_exact}}) {
    for (const Alternative alternative : alternatives)
      EXPECT_EQ(test({0, 0}, {4, 4}, alternative).p, 1.0);
    EXPECT_THROW((void)test({5, 4}, {4, 4}, Alternative::less), std::domain_error);
  }
}

}  // namespace
}  // namespace plexor::analysis
