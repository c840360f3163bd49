#include "analysis/power.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "analysis/intervals.hpp"

namespace plexor::analysis {
namespace {

/// Of the plan with n trials, by adding up the binomial's terms.
double power_of_plan(std::uint64_t n, double most, double confidence, double failure) {
  double term = std::pow(1.0 - failure, static_cast<double>(n));
  double sum = 0.0;
  for (std::uint64_t x = 0; x <= n; ++x) {
    if (clopper_pearson(x, n, confidence, Sides::upper).upper > most) break;
    sum += term;
    term *= static_cast<double>(n - x) / static_cast<double>(x + 1) * failure / (1.0 - failure);
  }
  return sum;
}

TEST(Power, OfThePlanWithoutFailuresIsAPowerOfTheRate) {
  EXPECT_NEAR(chance_of_few_failures(59, 0, 0.025), std::pow(0.975, 59.0), 1e-12);
  EXPECT_NEAR(chance_of_few_incidents(3.0, 0, 0.5), std::exp(-1.5), 1e-12);
  EXPECT_EQ(chance_of_few_failures(5, 5, 0.9), 1.0);
}

TEST(Power, TheTrialsForItAreTheFewest) {
  for (const double failure : {0.01, 0.02, 0.025, 0.03}) {
    for (const double power : {0.80, 0.95}) {
      const auto found = trials_for_power(0.05, 0.95, failure, power);
      ASSERT_TRUE(found);
      EXPECT_GE(power_of_plan(*found, 0.05, 0.95, failure), power) << failure;
      for (std::uint64_t fewer = 1; fewer < *found; ++fewer) {
        ASSERT_LT(power_of_plan(fewer, 0.05, 0.95, failure), power) << failure << ": " << fewer;
      }
    }
  }
}

TEST(Power, TheHoursForItAreTheFewest) {
  const auto hours = hours_for_power(2.0, 0.9, 1.0, 0.8);
  ASSERT_TRUE(hours);
  const auto power_in = [](double length) {
    std::uint64_t allowed = 0;
    if (garwood(0, length, 0.9, Sides::upper).upper > 2.0) return 0.0;
    while (garwood(allowed + 1, length, 0.9, Sides::upper).upper <= 2.0) ++allowed;
    return chance_of_few_incidents(length, allowed, 1.0);
  };
  EXPECT_GE(power_in(*hours * 1.000001), 0.8);
  for (double fewer = 0.01; fewer < *hours - 1e-6; fewer += 0.01) ASSERT_LT(power_in(fewer), 0.8);
}

TEST(Power, NearTheLimitNoNumberIsEnough) {
  EXPECT_FALSE(trials_for_power(0.05, 0.95, 0.04999, 0.95));
  EXPECT_FALSE(trials_for_power(0.0, 0.95, 0.0, 0.8)) << "perfection can't be shown";
  EXPECT_FALSE(hours_for_power(2.0, 0.9, 1.9999, 0.95));
}

}  // namespace
}  // namespace plexor::analysis
