#include "base/basic_math.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "base/random.hpp"

namespace plexor::base {
namespace {

TEST(BasicMath, SineAndCosineAgreeWithLibm) {
  for (double x = -4.0; x <= 4.0; x += 0.0037) {
    EXPECT_NEAR(sin_cos(x).sin, std::sin(x), 1e-14) << x;
    EXPECT_NEAR(sin_cos(x).cos, std::cos(x), 1e-14) << x;
  }
}

TEST(BasicMath, ExponentialAgreesWithLibm) {
  for (double x = 0.0; x < 700.0; x = x * 1.1 + 1e-6) {
    EXPECT_NEAR(exp_minus(x) / std::exp(-x), 1.0, 1e-12) << x;
  }
}

TEST(BasicMath, LogarithmAgreesWithLibm) {
  for (double x = 1e-19; x < 1e19; x *= 1.37) {
    const double expected = std::log(x);
    EXPECT_NEAR(natural_log(x), expected, 1e-14 * std::max(1.0, std::abs(expected))) << x;
  }
  EXPECT_EQ(natural_log(1.0), 0.0);
}

TEST(BasicMath, NormalUpperTailAgreesWithLibm) {
  for (double z = -8.0; z < 35.0; z += 0.037) {
    EXPECT_NEAR(normal_upper_tail(z) / (0.5 * std::erfc(z / std::sqrt(2.0))), 1.0, 1e-10) << z;
  }
}

TEST(BasicMath, UnitIntervalIncludesOneAndExcludesZero) {
  EXPECT_GT(unit_interval(0), 0.0);
  EXPECT_EQ(unit_interval(~std::uint64_t{0}), 1.0);
}

TEST(BasicMath, ExponentialDeviatesHaveMeanAndSpreadOfOne) {
  constexpr int n = 100'000;
  double sum = 0.0;
  double sum_2 = 0.0;
  for (std::uint32_t i = 0; i < n; ++i) {
    const double x = exponential(base::uniform_bits({.seed = 3, .trial = i}));
    sum += x;
    sum_2 += x * x;
  }
  EXPECT_NEAR(sum / n, 1.0, 5.0 / std::sqrt(n));           // sd of one deviate: 1
  EXPECT_NEAR(sum_2 / n, 2.0, 5.0 * std::sqrt(20.0 / n));  // var of its square: 4! - 2^2
}

}  // namespace
}  // namespace plexor::base
