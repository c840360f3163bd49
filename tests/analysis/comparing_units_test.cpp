#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <numeric>
#include <stdexcept>

#include "analysis/comparing/dispersion.hpp"
#include "analysis/comparing/multiplicity.hpp"
#include "analysis/comparing/paired.hpp"
#include "analysis/comparing/two_proportions.hpp"
#include "analysis/comparing_brute_force.hpp"

namespace plexor::analysis {
namespace {

// Published values stand in tests/reference (t09).

using ::testing::ElementsAre;
using ::testing::IsEmpty;

/// Whether the step-wise procedure rejects this hypothesis at alpha, as its publication tells it.
bool rejects(const std::vector<double>& p, std::size_t hypothesis, double alpha,
             Adjustment adjustment) {
  std::vector<double> sorted = p;
  std::ranges::sort(sorted);
  const auto count = static_cast<double>(p.size());
  const auto limit = [&](std::size_t k) {  // of the k-th smallest, from 0
    const auto rank = static_cast<double>(k) + 1.0;
    return adjustment == Adjustment::benjamini_hochberg ? alpha * rank / count
                                                        : alpha / (count + 1.0 - rank);
  };
  std::size_t rejected = 0;
  if (adjustment == Adjustment::holm) {
    while (rejected < sorted.size() && sorted[rejected] <= limit(rejected)) ++rejected;
  } else {
    for (std::size_t k = 0; k < sorted.size(); ++k)
      if (sorted[k] <= limit(k)) rejected = k + 1;
  }
  return rejected > 0 && p[hypothesis] <= sorted[rejected - 1];
}

TEST(AdjustedP, RejectsWhatTheStepwiseProcedureRejects) {
  Draws draws(21);
  for (int round = 0; round < 300; ++round) {
    std::vector<double> p(1 + draws.below(8));
    for (double& value : p) value = std::pow(draws.uniform(), 3.0);
    for (const Adjustment adjustment :
         {Adjustment::holm, Adjustment::hochberg, Adjustment::benjamini_hochberg}) {
      const std::vector<double> values = adjusted(p, adjustment);
      for (const double alpha : {0.01, 0.05, 0.2})
        for (std::size_t i = 0; i < p.size(); ++i)
          EXPECT_EQ(values[i] <= alpha, rejects(p, i, alpha, adjustment));
    }
  }
}

TEST(AdjustedP, OfNothingIsNothingAndOfWrongOnesRefused) {
  EXPECT_THAT(adjusted({}, Adjustment::holm), IsEmpty());
  EXPECT_THAT(adjusted(std::vector{0.3}, Adjustment::benjamini_yekutieli), ElementsAre(0.3));
  for (const double wrong : {-0.1, 1.1, std::nan("")})
    EXPECT_THROW((void)adjusted(std::vector{0.5, wrong}, Adjustment::holm), std::domain_error);
}

TEST(Deviations, NameTheOneUnitThatIsWorse) {
  std::vector<Successes> units(12, {48, 50});
  units[7] = {33, 50};
  const std::vector<UnitDeviation> found = deviations(units);
  ASSERT_EQ(found.size(), units.size());
  for (const UnitDeviation& unit : found) {
    EXPECT_EQ(unit.adjusted_p <= 0.05, unit.unit == 7U);
    EXPECT_EQ(unit.higher, unit.unit != 7U);
    EXPECT_GE(unit.adjusted_p, unit.p);
  }
  EXPECT_EQ(found[7].p, fisher_exact({33, 50}, {48 * 11, 50 * 11}).two_sided);
}

TEST(Deviations, NameTheOneUnitOfMoreEvents) {
  std::vector<Events> units(6, {3, 24.0});
  units[2] = {40, 100.0};
  const std::vector<UnitDeviation> found = deviations(units);
  for (const UnitDeviation& unit : found) EXPECT_EQ(unit.adjusted_p <= 0.05, unit.unit == 2U);
  EXPECT_TRUE(found[2].higher);
  EXPECT_EQ(found[2].p, rate_ratio_exact({40, 100.0}, {15, 120.0}).two_sided);
}

TEST(Deviations, AreRarelyFoundWhereThereAreNone) {
  // Five units of 8 trials and one rate: the chance that any is named, over all outcomes of two of
  // them drawn and the others fixed by the draw.
  Draws draws(22);
  int named = 0;
  constexpr int rounds = 2000;
  for (int round = 0; round < rounds; ++round) {
    std::vector<Successes> units(5, {0, 20});
    for (Successes& unit : units)
      for (int trial = 0; trial < 20; ++trial) unit.x += draws.uniform() < 0.7 ? 1U : 0U;
    const std::vector<UnitDeviation> found = deviations(units);
    named += std::ranges::any_of(found, [](const auto& unit) { return unit.adjusted_p <= 0.05; });
  }
  EXPECT_LT(named, rounds * 0.05);
  EXPECT_GT(named, 0);
}

TEST(CochranQTest, OfTwoConditionsIsMcNemarsChiSquare) {
  std::vector<std::vector<bool>> trials(10, {true, true});
  trials.insert(trials.end(), 9, {true, false});
  trials.insert(trials.end(), 3, {false, true});
  trials.insert(trials.end(), 5, {false, false});
  const CochranQ result = cochran_q(trials);
  EXPECT_NEAR(result.q, 36.0 / 12.0, 1e-12);
  EXPECT_EQ(result.degrees, 1.0);
  EXPECT_NEAR(result.p, std::erfc(std::sqrt(3.0 / 2.0)), 1e-12);
}

TEST(CochranQTest, HasTheMeanOfItsDegreesOverAllRearrangementsWithinTrials) {
  // Each trial's successes may fall to any of its conditions; over all of them the mean of Q is k
  // - 1.
  std::vector<std::vector<bool>> trials{
      {true, false, false}, {true, true, false}, {true, false, false}};
  double sum = 0.0;
  double arrangements = 0.0;
  for_each_choice(3, 1, [&](const auto& a) {
    for_each_choice(3, 2, [&](const auto& b) {
      for_each_choice(3, 1, [&](const auto& c) {
        sum += cochran_q(std::vector<std::vector<bool>>{a, b, c}).q;
        arrangements += 1.0;
      });
    });
  });
  EXPECT_EQ(arrangements, 27.0);
  EXPECT_NEAR(sum / arrangements, 2.0, 1e-12);
}

TEST(CochranQTest, FindsNothingWhereNoTrialDiffersAndRefusesRaggedTrials) {
  using Trials = std::vector<std::vector<bool>>;
  EXPECT_EQ(cochran_q(Trials{{true, true}, {false, false}}).p, 1.0);
  EXPECT_THROW((void)cochran_q(Trials{{true, true}, {false}}), std::domain_error);
  EXPECT_THROW((void)cochran_q(Trials{{true}}), std::domain_error);
  EXPECT_THROW((void)cochran_q(Trials{}), std::domain_error);
}

/// Pearson's chi-square and the share of all arrangements of the total that scatter as far, each
/// visited by itself.
double slow_dispersion_p(const std::vector<Successes>& units) {
  std::uint64_t total = 0;
  std::uint64_t trials = 0;
  for (const Successes& unit : units) {
    total += unit.x;
    trials += unit.n;
  }
  const double share = static_cast<double>(total) / static_cast<double>(trials);
  const auto scatter = [&](const std::vector<std::uint64_t>& counts) {
    double sum = 0.0;
    for (std::size_t i = 0; i < units.size(); ++i) {
      const double expected = share * static_cast<double>(units[i].n);
      sum += std::pow(static_cast<double>(counts[i]) - expected, 2) / expected;
    }
    return sum / (1.0 - share);
  };
  std::vector<std::uint64_t> seen;
  for (const Successes& unit : units) seen.push_back(unit.x);
  double all = 0.0;
  double extreme = 0.0;
  std::vector<std::uint64_t> counts(units.size(), 0);
  const auto visit = [&](const auto& self, std::size_t unit, std::uint64_t left,
                         double log_ways) -> void {
    if (unit == units.size()) {
      if (left > 0) return;
      all += std::exp(log_ways);
      if (scatter(counts) >= scatter(seen) * (1.0 - 1e-9)) extreme += std::exp(log_ways);
      return;
    }
    for (std::uint64_t x = 0; x <= std::min(left, units[unit].n); ++x) {
      counts[unit] = x;
      self(self, unit + 1, left - x, log_ways + log_choose(units[unit].n, x));
    }
  };
  visit(visit, 0, total, 0.0);
  return extreme / all;
}

TEST(DispersionOfProportions, IsTheShareOfAllArrangements) {
  for (const std::vector<Successes>& units :
       {std::vector<Successes>{{3, 10}, {7, 10}, {5, 10}, {9, 10}},
        std::vector<Successes>{{2, 9}, {7, 12}, {1, 7}},
        std::vector<Successes>{{9, 9}, {11, 12}, {5, 7}},
        std::vector<Successes>{{1, 40}, {0, 40}, {4, 40}, {0, 40}, {1, 40}},
        std::vector<Successes>{{4, 8}, {4, 8}}}) {
    const Dispersion found = dispersion_of(units);
    EXPECT_TRUE(found.exact);
    EXPECT_NEAR(found.p, slow_dispersion_p(units), 1e-10) << units.front().x;
    EXPECT_EQ(found.degrees, static_cast<double>(units.size()) - 1.0);
  }
}

TEST(DispersionOfProportions, IsTheShareOfAllArrangementsForAnySizes) {
  Draws draws(23);
  for (int round = 0; round < 40; ++round) {
    std::vector<Successes> units(4);
    for (Successes& unit : units) {
      unit.n = 1 + draws.below(13);
      unit.x = draws.below(unit.n + 1);
    }
    units[0] = {1, 3};
    EXPECT_NEAR(dispersion_of(units).p, slow_dispersion_p(units), 1e-10) << round;
  }
}

TEST(DispersionOfProportions, StaysExactForTenUnitsOfAHundredTrials) {
  std::vector<Successes> units(10, {50, 100});
  units[0] = {60, 100};
  units[1] = {38, 100};
  const Dispersion found = dispersion_of(units);
  EXPECT_TRUE(found.exact);
  EXPECT_NEAR(found.chi_square, 9.744, 0.001);
  EXPECT_NEAR(found.p, 0.37, 0.02);  // chi-square's own: 0.372
}

TEST(DispersionOfProportions, OfTwoUnitsHasPearsonsChiSquare) {
  const Dispersion found = dispersion_of(std::vector<Successes>{{30, 50}, {20, 50}});
  EXPECT_NEAR(found.chi_square, 4.0, 1e-12);
}

TEST(DispersionOfProportions, FallsBackToChiSquareForManyOutcomesAndSaysSo) {
  std::vector<Successes> units;
  for (std::uint64_t i = 0; i < 30; ++i) units.push_back({480 + i, 1000 + i * i});
  const Dispersion found = dispersion_of(units);
  EXPECT_FALSE(found.exact);
  EXPECT_EQ(found.degrees, 29.0);
  // A size that is still exact agrees with the distribution that the larger ones use.
  std::vector<Successes> few(8, {10, 20});
  few[0] = {16, 20};
  few[1] = {5, 20};
  const Dispersion exact = dispersion_of(few);
  EXPECT_TRUE(exact.exact);
  EXPECT_NEAR(exact.chi_square, 12.14, 0.1);
  EXPECT_NEAR(exact.p, 0.095, 0.012);
}

TEST(DispersionOfProportions, FindsNoneWithoutSuccessesFailuresOrTrials) {
  EXPECT_EQ(dispersion_of(std::vector<Successes>{{0, 5}, {0, 9}}).p, 1.0);
  EXPECT_EQ(dispersion_of(std::vector<Successes>{{5, 5}, {9, 9}}).p, 1.0);
  EXPECT_EQ(dispersion_of(std::vector<Successes>{{5, 5}, {0, 0}}).p, 1.0);
  EXPECT_EQ(dispersion_of(std::vector<Successes>{{2, 5}, {0, 0}}).p, 1.0);
  EXPECT_THROW((void)dispersion_of(std::vector<Successes>{{2, 5}}), std::domain_error);
  EXPECT_THROW((void)dispersion_of(std::vector<Successes>{{2, 5}, {6, 5}}), std::domain_error);
}

TEST(DispersionOfProportions, HandlesFailuresAsSuccesses) {
  const Dispersion hits = dispersion_of(std::vector<Successes>{{49, 50}, {45, 50}, {50, 50}});
  const Dispersion misses = dispersion_of(std::vector<Successes>{{1, 50}, {5, 50}, {0, 50}});
  EXPECT_NEAR(hits.p, misses.p, 1e-14);
  EXPECT_NEAR(hits.chi_square, misses.chi_square, 1e-12);
}

TEST(DispersionOfEvents, OfTwoUnitsIsATestOfTheirShare) {
  // Both deviate equally from equal expectations, so the arrangements as far out are two binomial
  // tails.
  for (std::uint64_t first = 0; first <= 6; ++first) {
    const Dispersion found = dispersion_of(std::vector<Events>{{first, 2.0}, {12 - first, 2.0}});
    EXPECT_NEAR(found.p, mcnemar_exact(first, 12 - first).two_sided, 1e-12);
    EXPECT_TRUE(found.exact);
  }
}

TEST(DispersionOfEvents, IsTheShareOfAllArrangements) {
  const std::vector<double> hours{1.0, 2.5, 4.0};
  const auto scatter = [&](std::uint64_t a, std::uint64_t b, std::uint64_t c) {
    double sum = 0.0;
    const std::array<std::uint64_t, 3> counts{a, b, c};
    for (std::size_t i = 0; i < 3; ++i)
      sum += std::pow(static_cast<double>(counts[i]) - 9.0 * hours[i] / 7.5, 2) /
             (9.0 * hours[i] / 7.5);
    return sum;
  };
  double extreme = 0.0;
  double all = 0.0;
  for (std::uint64_t a = 0; a <= 9; ++a)
    for (std::uint64_t b = 0; a + b <= 9; ++b) {
      const double mass =
          poisson_mass(a, hours[0]) * poisson_mass(b, hours[1]) * poisson_mass(9 - a - b, hours[2]);
      all += mass;
      if (scatter(a, b, 9 - a - b) >= scatter(4, 2, 3) * (1.0 - 1e-9)) extreme += mass;
    }
  const Dispersion found = dispersion_of(std::vector<Events>{{4, 1.0}, {2, 2.5}, {3, 4.0}});
  EXPECT_NEAR(found.p, extreme / all, 1e-11);
  EXPECT_NEAR(found.chi_square, scatter(4, 2, 3), 1e-12);
}

TEST(DispersionOfEvents, TakesAnEventThatCouldHardlyBe) {
  const Dispersion found = dispersion_of(std::vector<Events>{{1, 1e-15}, {5, 1000.0}, {4, 1000.0}});
  EXPECT_TRUE(found.exact);
  EXPECT_NEAR(found.p / (10 * 1e-15 / 2000.0), 1.0, 1e-6);  // any of ten events in that exposure
}

TEST(DispersionOfEvents, FindsNoneWithoutEventsAndRefusesWrongExposures) {
  EXPECT_EQ(dispersion_of(std::vector<Events>{{0, 1.0}, {0, 2.0}}).p, 1.0);
  EXPECT_THROW((void)dispersion_of(std::vector<Events>{{0, 0.0}, {0, 2.0}}), std::domain_error);
}

}  // namespace
}  // namespace plexor::analysis
