#include <gtest/gtest.h>

#include <cmath>
#include <vector>

#include "analysis/intervals.hpp"
#include "analysis/trend/control_charts.hpp"
#include "analysis/trend/event_trend.hpp"
#include "analysis/trend/series_trend.hpp"

namespace plexor::analysis {
namespace {

using Times = std::vector<double>;

TEST(EventTrend, SeesEventsGetDenserAndRarer) {
  const Times denser{50, 70, 80, 85, 88, 90, 93, 95, 97, 99};
  Times rarer;
  for (auto time = denser.rbegin(); time != denser.rend(); ++time) rarer.push_back(100.0 - *time);
  const auto up = laplace_trend(denser, 100.0, Truncation::time);
  const auto down = laplace_trend(rarer, 100.0, Truncation::time);
  EXPECT_GT(up->z, 2.0);
  EXPECT_NEAR(down->z, -up->z, 1e-12);
  EXPECT_LT(power_law_test(denser, 100.0, Truncation::time)->p_denser, 0.01);
  EXPECT_GT(power_law(denser, 100.0)->b, 1.0);
  EXPECT_LT(power_law(rarer, 100.0)->b, 1.0);
}

TEST(EventTrend, SaysNothingOfTooFewEvents) {
  EXPECT_FALSE(laplace_trend(Times{}, 10.0, Truncation::time));
  EXPECT_FALSE(laplace_trend(Times{5.0}, 10.0, Truncation::event));
  EXPECT_FALSE(power_law_test(Times{}, 10.0, Truncation::time));
  EXPECT_FALSE(power_law(Times{5.0}, 10.0));
  EXPECT_EQ(reversals(Times{5.0}), 0U);
}

TEST(EventTrend, RefusesTimesOutOfOrder) {
  EXPECT_THROW((void)laplace_trend(Times{5.0, 4.0}, 10.0, Truncation::time), std::domain_error);
  EXPECT_THROW((void)laplace_trend(Times{0.0}, 10.0, Truncation::time), std::domain_error);
  EXPECT_THROW((void)laplace_trend(Times{11.0}, 10.0, Truncation::time), std::domain_error);
  EXPECT_THROW((void)mean_time_between(1, 0.0, 0.9, Truncation::time), std::domain_error);
}

// The rate's exact Poisson interval, turned over.
TEST(EventTrend, AgreesWithGarwood) {
  for (const std::uint64_t events : {0U, 1U, 7U}) {
    const Interval rate = garwood(events, 40.0, 0.95, Sides::two);
    const MeanTimeBetween time = mean_time_between(events, 40.0, 0.95, Truncation::time);
    EXPECT_NEAR(time.two_sided.lower, 1.0 / rate.upper, 1e-9);
    EXPECT_NEAR(1.0 / time.two_sided.upper, rate.lower, 1e-9);
  }
}

TEST(SeriesTrend, DependsOnTheOrderAlone) {
  const std::vector<double> figures{1.0, 1.5, 1.4, 2.0, 2.5, 2.4, 9.0};
  std::vector<double> bent;
  for (const double figure : figures) bent.push_back(std::exp(figure));
  EXPECT_EQ(mann_kendall(figures).s, mann_kendall(bent).s);
  EXPECT_EQ(mann_kendall(figures).p, mann_kendall(bent).p);
  EXPECT_EQ(mann_kendall(std::vector<double>(5, 2.0)).p, 1.0);
}

TEST(SeriesTrend, OneOutlierHardlyMovesTheSlope) {
  Times times;
  std::vector<double> figures;
  for (int night = 0; night < 14; ++night) {
    times.push_back(night);
    figures.push_back(3.0 + 0.5 * night);
  }
  figures[4] = 400.0;
  const auto sen = sen_slope(times, figures);
  EXPECT_NEAR(sen->slope, 0.5, 1e-9);
  EXPECT_NEAR(sen->intercept, 3.0, 1e-9);
  EXPECT_FALSE(sen_slope(Times{1.0}, Times{2.0}));
  EXPECT_THROW((void)sen_slope(Times{1.0, 1.0}, Times{2.0, 3.0}), std::domain_error);
}

TEST(ControlCharts, NameTheFirstFigureThatIsOff) {
  std::vector<double> figures(20, 10.0);
  EXPECT_FALSE(cusum(figures, 10.0, 0.5, 4.0).first_signal);
  EXPECT_FALSE(ewma(figures, 10.0, 1.0, 0.2, 3.0).first_signal);
  for (std::size_t i = 12; i < 20; ++i) figures[i] = 12.0;
  EXPECT_EQ(cusum(figures, 10.0, 0.5, 4.0).first_signal, 14U);
  EXPECT_GE(ewma(figures, 10.0, 1.0, 0.2, 3.0).first_signal.value(), 12U);
  EXPECT_THROW((void)ewma(figures, 10.0, 1.0, 0.0, 3.0), std::domain_error);
}

}  // namespace
}  // namespace plexor::analysis
