#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <limits>
#include <numeric>
#include <stdexcept>

#include "analysis/comparing/two_sample.hpp"
#include "analysis/comparing_brute_force.hpp"

namespace plexor::analysis {
namespace {

// Published values stand in tests/reference (t05).

constexpr double endless = std::numeric_limits<double>::infinity();
using Values = std::vector<double>;

double difference(double a, double b) { return a == b ? 0.0 : a - b; }

Values all_differences(const Values& first, const Values& second) {
  Values all;
  for (const double a : first)
    for (const double b : second) all.push_back(difference(a, b));
  std::ranges::sort(all);
  return all;
}

/// Up to `most` values from a few levels, so that there are ties, some of them unanswered.
Values drawn(Draws& draws, std::uint64_t most, std::uint64_t levels) {
  Values values(1 + draws.below(most));
  for (double& value : values) {
    const std::uint64_t level = draws.below(levels);
    value = level == 0 ? endless : static_cast<double>(level) * 0.1;
  }
  std::ranges::sort(values);
  return values;
}

/// Calls `visit(first, second)` for each way to share out the pooled values.
template <typename Visit>
void for_each_sharing(const Values& pool, std::size_t n, Visit visit) {
  for_each_choice(pool.size(), n, [&](const std::vector<bool>& chosen) {
    Values first;
    Values second;
    for (std::size_t i = 0; i < pool.size(); ++i) (chosen[i] ? first : second).push_back(pool[i]);
    visit(first, second);
  });
}

TEST(MannWhitneyTest, CountsPairsWithTiesAsHalf) {
  Draws draws(7);
  for (int round = 0; round < 200; ++round) {
    const Values first = drawn(draws, 12, 6);
    const Values second = drawn(draws, 12, 6);
    double u = 0.0;
    for (const double a : first)
      for (const double b : second) u += a > b ? 1.0 : a == b ? 0.5 : 0.0;
    EXPECT_EQ(mann_whitney(first, second).u, u);
  }
}

TEST(MannWhitneyTest, HasTheMeanAndDeviationOfAllSharingsOfTheValues) {
  for (const Values& pool :
       {Values{1, 2, 3, 4, 5, 6, 7}, Values{1, 1, 1, 2, 3, 3, endless, endless}}) {
    double sum = 0.0;
    double squares = 0.0;
    int sharings = 0;
    MannWhitney seen;
    for_each_sharing(pool, 3, [&](const Values& first, const Values& second) {
      seen = mann_whitney(first, second);
      sum += seen.u;
      squares += seen.u * seen.u;
      ++sharings;
    });
    EXPECT_NEAR(sum / sharings, seen.mean, 1e-12);
    EXPECT_NEAR(squares / sharings - seen.mean * seen.mean, seen.sd * seen.sd, 1e-10);
  }
}

TEST(MannWhitneyTest, ExactPIsTheShareOfAllSharings) {
  const Values first{1.5, 2.5, 7.0, 8.0};
  const Values second{1.0, 2.0, 3.0, 4.0, 5.0};
  const double seen = mann_whitney(first, second).u;
  Values pool = first;
  pool.insert(pool.end(), second.begin(), second.end());
  std::ranges::sort(pool);
  double greater = 0.0;
  double less = 0.0;
  double sharings = 0.0;
  for_each_sharing(pool, first.size(), [&](const Values& a, const Values& b) {
    const double u = mann_whitney(a, b).u;
    greater += u >= seen ? 1.0 : 0.0;
    less += u <= seen ? 1.0 : 0.0;
    sharings += 1.0;
  });
  const PValues p = mann_whitney_exact(first, second).value();
  EXPECT_NEAR(p.greater, greater / sharings, 1e-14);
  EXPECT_NEAR(p.less, less / sharings, 1e-14);
  EXPECT_NEAR(p.two_sided, 2.0 * std::min(p.greater, p.less), 1e-14);
}

/// P(U = u), from the largest value belonging to the first sample or to the second: sums of
/// positive terms only.
std::vector<double> slow_rank_sums(std::uint64_t n, std::uint64_t m) {
  std::vector<std::vector<double>> row(m + 1, {1.0});  // for no value in the first sample
  for (std::uint64_t i = 1; i <= n; ++i) {
    std::vector<std::vector<double>> next{{1.0}};
    for (std::uint64_t j = 1; j <= m; ++j) {
      std::vector<double> masses(i * j + 1, 0.0);
      const double from_first = static_cast<double>(i) / static_cast<double>(i + j);
      for (std::size_t u = 0; u < row[j].size(); ++u) masses[u + j] += from_first * row[j][u];
      for (std::size_t u = 0; u < next[j - 1].size(); ++u)
        masses[u] += (1.0 - from_first) * next[j - 1][u];
      next.push_back(std::move(masses));
    }
    row = std::move(next);
  }
  return row[m];
}

TEST(RankSums, KeepTheirDigitsInTheTailsAndForLargeSamples) {
  const std::vector<std::pair<std::uint64_t, std::uint64_t>> sizes{
      {1, 1}, {3, 4}, {8, 90}, {60, 60}};
  for (const auto& [n, m] : sizes) {
    const std::vector<double> masses = slow_rank_sums(n, m);
    double sum = 0.0;
    for (std::uint64_t u = 0; u < masses.size(); ++u) {
      sum += masses[u];
      if (u % (1 + masses.size() / 40) != 0) continue;
      EXPECT_NEAR(rank_sum_at_most(u, n, m) / sum, 1.0, 1e-11) << n << " " << m << " " << u;
    }
  }
  EXPECT_NEAR(rank_sum_at_most(20'000, 200, 200), 0.5, 1e-3);
  EXPECT_NEAR(rank_sum_at_most(0, 200, 200) / std::exp(-log_choose(400, 200)), 1.0, 1e-10);
  EXPECT_THROW((void)rank_sum_at_most(0, 201, 200), std::domain_error);
}

TEST(MannWhitneyTest, GivesNoExactPWithTiesOrForManyValues) {
  EXPECT_FALSE(mann_whitney_exact(Values{1, 2}, Values{2, 3}));
  Values many(300);
  std::iota(many.begin(), many.end(), 0.0);
  EXPECT_FALSE(mann_whitney_exact(many, Values(many.begin(), many.begin() + 150)));
}

TEST(MannWhitneyTest, GivesNoNormalPWhereAllValuesAreEqual) {
  EXPECT_FALSE(mann_whitney_normal(Values{endless, endless}, Values{endless}, true));
  EXPECT_TRUE(mann_whitney_normal(Values{1, endless}, Values{endless}, true));
}

TEST(MannWhitneyTest, NormalPIsNearTheExactOne) {
  Values first;
  Values second;
  for (int i = 0; i < 30; ++i) first.push_back(i + 0.5 + 4.0);
  for (int i = 0; i < 25; ++i) second.push_back(i * 1.2);
  const PValues exact = mann_whitney_exact(first, second).value();
  const PValues normal = mann_whitney_normal(first, second, true).value();
  EXPECT_NEAR(normal.greater, exact.greater, 0.0005);
  EXPECT_NEAR(normal.less, exact.less, 0.0005);
  EXPECT_NEAR(normal.two_sided, exact.two_sided, 0.001);
}

TEST(Differences, AreFoundAtEachRank) {
  Draws draws(11);
  for (int round = 0; round < 60; ++round) {
    const Values first = drawn(draws, 9, 20);
    const Values second = drawn(draws, 9, 20);
    const Values all = all_differences(first, second);
    for (std::uint64_t rank = 1; rank <= all.size(); ++rank)
      EXPECT_EQ(difference_at_rank(first, second, rank), all[rank - 1]);
  }
  EXPECT_FALSE(std::signbit(difference_at_rank(Values{1, 2}, Values{1, 2}, 2)));
  EXPECT_THROW((void)difference_at_rank(Values{1}, Values{2}, 2), std::domain_error);
  EXPECT_THROW((void)difference_at_rank(Values{1}, Values{2}, 0), std::domain_error);
}

TEST(HodgesLehmann, IsTheMedianOfAllDifferences) {
  Draws draws(12);
  for (int round = 0; round < 200; ++round) {
    const Values first = drawn(draws, 8, 12);
    const Values second = drawn(draws, 8, 12);
    const Values all = all_differences(first, second);
    const double low = all[(all.size() - 1) / 2];
    const double high = all[all.size() / 2];
    const Shift shift = hodges_lehmann(first, second, 0.9);
    if (std::isfinite(low) && std::isfinite(high))
      EXPECT_NEAR(shift.estimate.value(), low + (high - low) / 2.0, 1e-12);
    else if (low == high)
      EXPECT_EQ(shift.estimate, low);
    else if (std::isinf(low) && std::isinf(high))
      EXPECT_FALSE(shift.estimate);
    else
      EXPECT_EQ(shift.estimate, std::isinf(low) ? low : high);
    EXPECT_LE(shift.lower, shift.upper);
  }
}

TEST(HodgesLehmann, IsInfiniteWhereMostPairsHaveOneUnanswered) {
  const Shift later = hodges_lehmann(Values{1, endless, endless, endless}, Values{1, 2, 3}, 0.9);
  EXPECT_EQ(later.estimate, endless);
  EXPECT_EQ(later.upper, endless);
  const Shift both = hodges_lehmann(Values{endless, endless}, Values{endless}, 0.9);
  EXPECT_EQ(both.estimate, 0.0);
  const Shift opposite = hodges_lehmann(Values{1, endless}, Values{1.5, endless}, 0.9);
  EXPECT_EQ(opposite.lower, -endless);
  EXPECT_EQ(opposite.upper, endless);
  EXPECT_EQ(opposite.estimate, -0.25);  // of -endless, -0.5, 0 and endless
}

TEST(HodgesLehmann, CoversExactlyAsOftenAsItSays) {
  // Under no shift every sharing of the ranks is equally likely.
  const Values pool{1, 2, 3, 4, 5, 6, 7, 8, 9};
  for (const double confidence : {0.5, 0.8, 0.95}) {
    double covered = 0.0;
    double sharings = 0.0;
    Shift shift;
    for_each_sharing(pool, 4, [&](const Values& first, const Values& second) {
      shift = hodges_lehmann(first, second, confidence);
      covered += shift.lower <= 0.0 && 0.0 <= shift.upper ? 1.0 : 0.0;
      sharings += 1.0;
    });
    EXPECT_NEAR(covered / sharings, shift.coverage, 1e-12);
    EXPECT_TRUE(shift.reached());
  }
}

TEST(HodgesLehmann, SaysWhereFewValuesReachNoConfidence) {
  const Shift shift = hodges_lehmann(Values{1, 3}, Values{2}, 0.95);
  EXPECT_FALSE(shift.reached());
  EXPECT_NEAR(shift.coverage, 1.0 / 3.0, 1e-12);
}

TEST(HodgesLehmann, NormalRanksAreNearTheExactOnes) {
  Values first(200);
  std::iota(first.begin(), first.end(), 0.0);
  for (const std::size_t size : {200U, 201U}) {  // exact, and just beyond
    Values second(size);
    std::iota(second.begin(), second.end(), -10.0);
    const Shift shift = hodges_lehmann(first, second, 0.95);
    EXPECT_EQ(shift.exact, size == 200U);
    EXPECT_NEAR(shift.estimate.value(), 10.0, 0.51);
    EXPECT_NEAR(shift.lower, 10.0 - 11.4, 1.0);
    EXPECT_NEAR(shift.upper, 10.0 + 11.4, 1.0);
    EXPECT_GE(shift.coverage, 0.95);
    EXPECT_LT(shift.coverage, 0.952);
  }
}

TEST(HodgesLehmann, HandlesAMillionByAMillionWithoutListingThem) {
  Values first(1'000'000);
  Values second(1'000'000);
  for (std::size_t i = 0; i < first.size(); ++i) {
    first[i] = static_cast<double>(i) * 1e-3 + 5.0;
    second[i] = static_cast<double>(i) * 1e-3;
  }
  const Shift shift = hodges_lehmann(first, second, 0.95);
  EXPECT_NEAR(shift.estimate.value(), 5.0, 1e-9);
  EXPECT_NEAR(shift.upper - 5.0, 5.0 - shift.lower, 1e-3);
  EXPECT_NEAR(shift.upper - 5.0, 0.8, 0.01);  // 1.96 sqrt(1 / 6 n) of the range of 1000
}

TEST(ASample, MustBeSortedAndWithoutNaN) {
  const Values fine{1, 2};
  for (const Values& wrong : {Values{2, 1}, Values{1, std::nan("")}, Values{std::nan("")}}) {
    EXPECT_THROW((void)mann_whitney(fine, wrong), std::domain_error);
    EXPECT_THROW((void)hodges_lehmann(wrong, fine, 0.9), std::domain_error);
    EXPECT_THROW((void)quantile_difference(fine, wrong, 0.5, 0.9, Joining::squared),
                 std::domain_error);
    EXPECT_THROW((void)kolmogorov_smirnov(wrong, fine), std::domain_error);
  }
  EXPECT_THROW((void)hodges_lehmann(fine, fine, 1.0), std::domain_error);
  EXPECT_THROW((void)quantile_difference(fine, fine, 1.5, 0.9, Joining::squared),
               std::domain_error);
}

TEST(ASample, WithoutValuesClaimsNothing) {
  const Values none;
  const Values some{1, 2};
  EXPECT_FALSE(mann_whitney_exact(none, some));
  EXPECT_FALSE(mann_whitney_normal(some, none, true));
  EXPECT_FALSE(hodges_lehmann(none, some, 0.9).estimate);
  EXPECT_EQ(hodges_lehmann(none, some, 0.9).upper, endless);
  EXPECT_FALSE(quantile_difference(some, none, 0.5, 0.9, Joining::guaranteed).estimate);
  EXPECT_EQ(kolmogorov_smirnov(none, some), 0.0);
  EXPECT_EQ(kolmogorov_smirnov_exact(some, none), 1.0);
  EXPECT_EQ(kolmogorov_smirnov_limit(none, none), 1.0);
}

TEST(DifferenceOfQuantiles, CoversAsOftenAsItSays) {
  Draws draws(13);
  constexpr int rounds = 3000;
  for (const double p : {0.5, 0.9}) {
    std::array<int, 2> covered{};
    for (int round = 0; round < rounds; ++round) {
      Values first(80);
      Values second(120);
      for (double& value : first) value = 3.0 - std::log(draws.uniform());
      for (double& value : second) value = -std::log(draws.uniform());
      std::ranges::sort(first);
      std::ranges::sort(second);
      for (const Joining joining : {Joining::guaranteed, Joining::squared}) {
        const Interval ends = quantile_difference(first, second, p, 0.95, joining).interval;
        if (ends.lower <= 3.0 && 3.0 <= ends.upper) ++covered[joining == Joining::squared ? 1 : 0];
      }
    }
    EXPECT_GT(covered[0], rounds * 0.985) << p;  // both at once: far more than asked for
    EXPECT_GT(covered[1], rounds * 0.945) << p;
    EXPECT_LT(covered[1], rounds * 0.985) << p;
  }
}

TEST(DifferenceOfQuantiles, StaysHonestWithUnansweredTrials) {
  Values first(100, 1.0);
  Values second(100, 1.0);
  std::iota(first.begin(), first.end(), 0.0);
  std::iota(second.begin(), second.end(), 0.0);
  std::fill(first.begin() + 60, first.end(), endless);
  const QuantileDifference median = quantile_difference(first, second, 0.5, 0.95, Joining::squared);
  EXPECT_EQ(median.estimate, 0.0);
  EXPECT_EQ(median.interval.upper, endless);  // the first's upper rank is unanswered
  EXPECT_GT(median.interval.lower, -30.0);
  EXPECT_EQ(median.interval.method, "order statistics, both at once");
  EXPECT_EQ(quantile_difference(first, second, 0.9, 0.95, Joining::squared).estimate, endless);
  EXPECT_EQ(quantile_difference(first, first, 0.9, 0.95, Joining::squared).estimate, 0.0);
  const QuantileDifference few =
      quantile_difference(Values{1, 2}, Values{1, 2}, 0.5, 0.95, Joining::guaranteed);
  EXPECT_EQ(few.interval.lower, -endless);
  EXPECT_EQ(few.interval.upper, endless);
}

TEST(KolmogorovSmirnov, ExactPIsTheShareOfAllSharings) {
  for (const Values& pool :
       {Values{1, 2, 3, 4, 5, 6, 7, 8}, Values{1, 1, 2, 2, 2, 3, endless, endless}}) {
    for_each_sharing(pool, 3, [&](const Values& first, const Values& second) {
      const double seen = kolmogorov_smirnov(first, second);
      double as_far = 0.0;
      double sharings = 0.0;
      for_each_sharing(pool, 3, [&](const Values& a, const Values& b) {
        as_far += kolmogorov_smirnov(a, b) >= seen - 1e-12 ? 1.0 : 0.0;
        sharings += 1.0;
      });
      EXPECT_NEAR(kolmogorov_smirnov_exact(first, second).value(), as_far / sharings, 1e-13);
    });
  }
}

TEST(KolmogorovSmirnov, LimitIsNearTheExactPForLargeSamples) {
  for (const double shift : {2.0, 60.0, 120.0, 250.0, 400.0}) {
    Values first(1500);
    Values second(2000);
    std::iota(first.begin(), first.end(), shift + 0.25);
    for (std::size_t i = 0; i < second.size(); ++i) second[i] = 0.75 * static_cast<double>(i);
    const double exact = kolmogorov_smirnov_exact(first, second).value();
    EXPECT_NEAR(kolmogorov_smirnov_limit(first, second), exact, 0.012) << shift;
  }
  const Values many(4000, 1.0);
  EXPECT_FALSE(kolmogorov_smirnov_exact(many, many));
}

TEST(AndersonDarlingTest, HasMeanZeroAndDeviationOneOverAllSharings) {
  const Values pool{1, 2, 3, 4, 5, 6, 7, 8, 9};
  double sum = 0.0;
  double squares = 0.0;
  double sharings = 0.0;
  for_each_sharing(pool, 4, [&](const Values& first, const Values& second) {
    const double standardised = anderson_darling(std::vector<Values>{first, second}).standardised;
    sum += standardised;
    squares += standardised * standardised;
    sharings += 1.0;
  });
  EXPECT_NEAR(sum / sharings, 0.0, 1e-12);
  EXPECT_NEAR(squares / sharings, 1.0, 1e-12);
}

TEST(AndersonDarlingTest, TakesTiesAndUnansweredTrialsAndRefusesTooLittle) {
  const std::vector<Values> equal(3, Values{1, 2, endless});
  EXPECT_NEAR(anderson_darling(equal).statistic, 0.0, 1e-12);
  const std::vector<Values> apart{{1, 1, 2}, {5, endless, endless}};
  EXPECT_GT(anderson_darling(apart).standardised, 2.0);
  EXPECT_THROW((void)anderson_darling(std::vector<Values>{{1, 2, 3, 4}}), std::domain_error);
  EXPECT_THROW((void)anderson_darling(std::vector<Values>{{1, 2, 3, 4}, {}}), std::domain_error);
  EXPECT_THROW((void)anderson_darling(std::vector<Values>{{1}, {2, 3}}), std::domain_error);
}

}  // namespace
}  // namespace plexor::analysis
