#include "virtual/physics/elementary.hpp"

#include <gtest/gtest.h>

#include <cmath>

#include "physics/drawn.hpp"

namespace plexor::physics {
namespace {

TEST(SineOfTurns, AgreesWithLibm) {
  for (std::uint32_t i = 0; i < 2000; ++i) {
    const double turns = drawn(i, 0, -30.0, 30.0);
    const auto value = sin_cos_turns(turns);
    EXPECT_NEAR(value.sin, std::sin(2.0 * pi * turns), 1e-12) << turns;
    EXPECT_NEAR(value.cos, std::cos(2.0 * pi * turns), 1e-12) << turns;
  }
}

TEST(SineOfTurns, VanishesAtHalfTurns) {
  for (int half = -20; half <= 20; ++half) EXPECT_NEAR(sin_cos_turns(half / 2.0).sin, 0.0, 1e-14);
}

TEST(Exponential, AgreesWithLibmOnBothSides) {
  for (std::uint32_t i = 0; i < 2000; ++i) {
    const double x = drawn(i, 0, -600.0, 600.0);
    EXPECT_NEAR(exponential_of(x) / std::exp(x), 1.0, 1e-12) << x;
  }
}

TEST(FifthRoot, UndoesTheFifthPower) {
  for (std::uint32_t i = 0; i < 2000; ++i) {
    const double x = std::exp(drawn(i, 0, -60.0, 60.0));
    const double root = fifth_root(x);
    EXPECT_NEAR(root * root * root * root * root / x, 1.0, 1e-13) << x;
  }
}

TEST(PowerOneAndAHalf, AgreesWithLibm) {
  EXPECT_EQ(power_1_5(0.0), 0.0);
  EXPECT_DOUBLE_EQ(power_1_5(7.0), std::pow(7.0, 1.5));
}

}  // namespace
}  // namespace plexor::physics
