#include "analysis/trend/count_changes.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <functional>
#include <vector>

#include "analysis/comparing/two_proportions.hpp"
#include "analysis/trend/level_changes.hpp"

namespace plexor::analysis {
namespace {

using Counted = std::vector<std::uint64_t>;

/// All arrangements of a total, each with its probability given the total, up to one factor.
void for_each_arrangement(const OrderedCounts& series, std::uint64_t total,
                          const std::function<void(const Counted&, double)>& visit) {
  Counted counts(series.size(), 0);
  const auto log_weight = [&](std::size_t i, std::uint64_t x) {
    const auto count = static_cast<double>(x);
    if (!series.of_trials) return count * std::log(series.sizes[i]) - std::lgamma(count + 1.0);
    return std::lgamma(series.sizes[i] + 1.0) - std::lgamma(count + 1.0) -
           std::lgamma(series.sizes[i] - count + 1.0);
  };
  const std::function<void(std::size_t, std::uint64_t, double)> place =
      [&](std::size_t i, std::uint64_t left, double log) {
        const bool last = i + 1 == series.size();
        for (std::uint64_t x = last ? left : 0; x <= left; ++x) {
          if (series.of_trials && static_cast<double>(x) > series.sizes[i]) continue;
          counts[i] = x;
          if (last) visit(counts, std::exp(log + log_weight(i, x)));
          if (!last) place(i + 1, left - x, log + log_weight(i, x));
        }
      };
  place(0, total, 0.0);
}

double largest_deviance(OrderedCounts series, const Counted& counts) {
  series.counts = counts;
  const std::vector<double> deviances = change_scan(series).deviances;
  return *std::max_element(deviances.begin(), deviances.end());
}

double sum_along(const Counted& counts, const std::vector<std::uint32_t>& weights) {
  double sum = 0.0;
  for (std::size_t i = 0; i < counts.size(); ++i) {
    sum += static_cast<double>(counts[i]) * weights[i];
  }
  return sum;
}

/// The series of both tests below: shares with unequal numbers of trials, and rates.
std::vector<OrderedCounts> small_series() {
  const std::vector<Successes> shares{{0, 6}, {1, 5}, {1, 7}, {3, 6}};
  const std::vector<Events> rates{{0, 1.0}, {1, 2.0}, {2, 1.5}, {4, 1.0}};
  return {ordered_counts(shares), ordered_counts(rates)};
}

std::uint64_t total_count(const OrderedCounts& series) {
  std::uint64_t total = 0;
  for (const std::uint64_t count : series.counts) total += count;
  return total;
}

TEST(ChangeScan, HasTheExactDistributionOfItsLargestDeviance) {
  for (const OrderedCounts& series : small_series()) {
    const double seen = largest_deviance(series, series.counts);
    double all = 0.0;
    double extreme = 0.0;
    for_each_arrangement(series, total_count(series), [&](const Counted& counts, double weight) {
      all += weight;
      if (largest_deviance(series, counts) >= seen * (1.0 - 1e-9)) extreme += weight;
    });
    const ChangeScan scan = change_scan(series);
    EXPECT_TRUE(scan.exact);
    EXPECT_NEAR(scan.p, extreme / all, 1e-9);
    EXPECT_GT(scan.p, 0.0);
    EXPECT_LT(scan.p, 0.5);
  }
}

TEST(ChangeScan, FindsTheNight) {
  const std::vector<Successes> shares{{317, 320}, {315, 320}, {316, 320}, {296, 320}, {299, 320}};
  const ChangeScan scan = change_scan(ordered_counts(shares));
  EXPECT_EQ(scan.first_after, 3U);
  EXPECT_LT(scan.p, 1e-6);
}

TEST(ChangeScan, NoCountsAreNoChange) {
  const std::vector<Events> none{{0, 1.0}, {0, 2.0}, {0, 1.0}};
  EXPECT_EQ(change_scan(ordered_counts(none)).p, 1.0);
  const std::vector<Successes> all{{9, 9}, {8, 8}};
  EXPECT_EQ(change_scan(ordered_counts(all)).p, 1.0);
}

TEST(DriftTest, HasTheExactTailsOfItsSum) {
  const std::vector<std::uint32_t> weights{0, 1, 3, 4};
  for (const OrderedCounts& series : small_series()) {
    const double seen = sum_along(series.counts, weights);
    double all = 0.0;
    double high = 0.0;
    for_each_arrangement(series, total_count(series), [&](const Counted& counts, double weight) {
      all += weight;
      if (sum_along(counts, weights) >= seen) high += weight;
    });
    const DriftTest test = drift_test(series, weights);
    EXPECT_TRUE(test.exact);
    EXPECT_GT(test.z, 0.0);
    EXPECT_NEAR(test.p, 2.0 * high / all, 1e-9);
  }
}

// Malformations by the mother's drinks a day: Agresti 2002, Categorical Data Analysis, table 3.7;
// section 5.3.5 has z squared = 6.57 and p = 0.010.
TEST(DriftTest, AgreesWithAPublishedTrend) {
  const std::vector<Successes> malformed{{48, 17114}, {38, 14502}, {5, 793}, {1, 127}, {1, 38}};
  const std::vector<double> drinks{0.0, 0.5, 1.5, 4.0, 7.0};
  const double z = weighted_score(ordered_counts(malformed), drinks);
  EXPECT_NEAR(z * z, 6.57, 0.005);
}

TEST(DriftTest, ManyCountsAreTestedNormally) {
  std::vector<Events> nights;
  std::vector<std::uint32_t> weights;
  for (std::uint32_t i = 0; i < 30; ++i) {
    nights.push_back({.count = 100 + 4 * i, .exposure = 4.0});
    weights.push_back(i);
  }
  const DriftTest test = drift_test(ordered_counts(nights), weights);
  EXPECT_FALSE(test.exact);
  EXPECT_LT(test.p, 1e-9);
}

TEST(OneAgainstOthers, IsFishersTest) {
  const std::vector<Successes> shares{{9, 10}, {19, 20}, {3, 10}};
  EXPECT_DOUBLE_EQ(one_against_others(ordered_counts(shares), 2),
                   fisher_exact({3, 10}, {28, 30}).two_sided);
}

TEST(LevelChanges, OneStepExplainsAllOfIt) {
  const std::vector<double> figures{1.0, 1.0, 1.0, 2.0, 2.0, 2.0};
  const std::vector<double> after{0, 0, 0, 1, 1, 1};
  EXPECT_NEAR(explained_share(figures, after, 1e-9), 1.0, 1e-9);
  const auto deviances = level_deviances(figures, 1e-3);
  EXPECT_EQ(std::max_element(deviances.begin(), deviances.end()) - deviances.begin(), 2);
  // Not better known than its own resolution.
  EXPECT_LT(explained_share(figures, after, 1.0), 0.5);
}

// Student's t of a correlation: r = 0.8 of 10 pairs has t = 3.771 with 8 degrees of freedom.
TEST(LevelChanges, ShareIsTestedWithStudentsT) {
  EXPECT_NEAR(p_of_share(0.64, 10), 0.00547, 5e-5);
  EXPECT_EQ(p_of_share(0.9, 2), 1.0);
}

}  // namespace
}  // namespace plexor::analysis
