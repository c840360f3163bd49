#include "analysis/trend/chart_rules.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/poisson.hpp>
#include <cmath>
#include <vector>

namespace plexor::analysis {
namespace {

using testing::Contains;
using testing::Each;
using testing::IsEmpty;
using testing::Not;

std::vector<ChartRule> rules_at_last(const std::vector<double>& off) {
  std::vector<ChartRule> rules;
  for (const ChartMark& mark : marks_of(off)) {
    if (mark.point + 1 == off.size()) rules.push_back(mark.rule);
  }
  return rules;
}

TEST(ChartRules, MarkTheLastPointOfEachPattern) {
  EXPECT_THAT(rules_at_last({0.0, -3.1}), Contains(ChartRule::beyond_3));
  EXPECT_THAT(rules_at_last({2.1, 0.0, 2.2}), Contains(ChartRule::two_beyond_2));
  EXPECT_THAT(rules_at_last({2.1, 0.0, -2.2}), Not(Contains(ChartRule::two_beyond_2)));
  EXPECT_THAT(rules_at_last({1.1, 1.2, 0.0, 1.3, 1.1}), Contains(ChartRule::four_beyond_1));
  EXPECT_THAT(rules_at_last({.1, .2, .1, .3, .1, .2, .1, .1}), Contains(ChartRule::eight_one_side));
  EXPECT_THAT(rules_at_last({.1, .2, .1, -.3, .1, .2, .1, .1}),
              Not(Contains(ChartRule::eight_one_side)));
  EXPECT_THAT(rules_at_last({-.5, -.3, -.1, .1, .3, .5}), Contains(ChartRule::six_rising));
  EXPECT_THAT(rules_at_last({.5, .3, .1, -.1, -.3, -.5}), Contains(ChartRule::six_rising));
  std::vector<double> waves;
  for (int i = 0; i < 14; ++i) waves.push_back(i % 2 == 0 ? 0.4 : -0.4);
  EXPECT_THAT(rules_at_last(waves), Contains(ChartRule::alternating));
  EXPECT_THAT(marks_of(std::vector<double>{0.3, -0.2, 0.5, 0.1, -0.4}), IsEmpty());
}

// NIST/SEMATECH e-Handbook 6.3.2.2, the example of ten flow rates: mean 50.81, mean moving range
// 1.8778, limits 45.8159 and 55.8041 (from memory).
TEST(IndividualsChart, AgreesWithTheHandbook) {
  const std::vector<double> flow{49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1};
  const IndividualsBaseline baseline = individuals_baseline(flow, 1e-6);
  EXPECT_NEAR(baseline.level, 50.81, 1e-9);
  EXPECT_NEAR(baseline.mean_range, 1.8778, 5e-5);
  const auto limits = individuals_limits(flow, baseline);
  EXPECT_NEAR(limits[0].upper, 55.8041, 1e-3);
  EXPECT_NEAR(limits[0].lower, 45.8159, 1e-3);
  EXPECT_NEAR(baseline.range_limit, 3.267 * 1.8778, 1e-3);
}

TEST(CountCharts, LimitsLeaveNoMoreOutsideThanThreeSigma) {
  const double tail = 0.0013498980316301035;  // of a normal figure beyond 3 sigma
  const std::vector<Successes> points{{316, 320}, {50, 60}};
  const auto shares = share_limits(points, 0.98);
  for (std::size_t i = 0; i < points.size(); ++i) {
    const auto n = static_cast<double>(points[i].n);
    const boost::math::binomial counts(n, 0.98);
    const double low = std::round(shares[i].lower * n);
    const double high = std::round(shares[i].upper * n);
    EXPECT_LE(low > 0.0 ? cdf(counts, low - 1.0) : 0.0, tail);
    EXPECT_GT(cdf(counts, low), tail);
    EXPECT_LE(cdf(complement(counts, high)), tail);
  }
  EXPECT_LT(shares[1].off, -3.0);
  EXPECT_LT(std::abs(shares[0].off), 2.5);
  const std::vector<Events> nights{{3, 4.0}, {20, 4.0}};
  const auto rates = rate_limits(nights, 0.8);
  const boost::math::poisson counts(3.2);
  EXPECT_LE(cdf(complement(counts, std::round(rates[0].upper * 4.0))), tail);
  EXPECT_GT(cdf(complement(counts, std::round(rates[0].upper * 4.0) - 1.0)), tail);
  EXPECT_EQ(rates[0].lower, 0.0);
  EXPECT_GT(rates[1].off, 3.0);
}

TEST(CountCharts, ABaselineWithoutCountsHasLimitsToo) {
  const std::vector<Successes> shares{{0, 80}, {3, 80}};
  EXPECT_EQ(share_limits(shares, 0.0)[0].off, 0.0);
  EXPECT_GT(share_limits(shares, 0.0)[1].off, 3.0);
  const std::vector<Events> events{{0, 4.0}, {3, 4.0}};
  EXPECT_EQ(rate_limits(events, 0.0)[0].off, 0.0);
  EXPECT_GT(rate_limits(events, 0.0)[1].off, 3.0);
  EXPECT_THROW((void)rate_limits(std::vector<Events>{{0, 0.0}}, 1.0), std::domain_error);
}

}  // namespace
}  // namespace plexor::analysis
