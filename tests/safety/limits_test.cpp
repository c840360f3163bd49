#include "safety/limits.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <limits>
#include <vector>

#include "safety/example_tapper.hpp"

namespace plexor::safety {
namespace {

using ::testing::AllOf;
using ::testing::HasSubstr;

constexpr double nan = std::numeric_limits<double>::quiet_NaN();
constexpr double infinity = std::numeric_limits<double>::infinity();

template <typename Change>
Refusal refusal_after(Change change) {
  Limits limits = example_limits();
  change(limits);
  return check_limits(limits).value_or(Refusal{"none", ""});
}

TEST(CheckLimits, LetsSensibleLimitsPass) { EXPECT_FALSE(check_limits(example_limits())); }

TEST(CheckLimits, RefusesEachValueThatIsNoNumberOrEndless) {  // [S50]
  const std::vector<double Limits::*> figures{
      &Limits::duty_percent,   &Limits::max_coil_c,         &Limits::coil_margin_k,
      &Limits::max_energy_j,   &Limits::moving_mass_kg,     &Limits::tip_diameter_m,
      &Limits::seated_force_n, &Limits::max_tip_pressure_pa};
  for (std::size_t i = 0; i < figures.size(); ++i) {
    for (const double bad : {nan, infinity, -infinity, -1.0}) {
      Limits limits = example_limits();
      limits.*figures[i] = bad;
      EXPECT_TRUE(check_limits(limits)) << "figure " << i << " = " << bad;
    }
  }
}

TEST(CheckLimits, RefusesEachDurationThatIsNotPositive) {  // [S50]
  for (const auto figure :
       {&Limits::max_pulse, &Limits::min_rest, &Limits::duty_span, &Limits::max_on_in_span}) {
    for (const base::Duration bad :
         {base::Duration{0}, base::Duration{-1}, base::Duration::min()}) {
      Limits limits = example_limits();
      limits.*figure = bad;
      EXPECT_TRUE(check_limits(limits));
    }
  }
}

TEST(CheckLimits, NamesCeilingAndValue) {
  const Refusal refusal = refusal_after([](Limits& l) { l.max_pulse = 250ms; });
  EXPECT_EQ(refusal.limit, "ceiling");
  EXPECT_THAT(refusal.reason,
              AllOf(HasSubstr("longest pulse"), HasSubstr("250 ms"), HasSubstr("200 ms")));
}

TEST(CheckLimits, HoldsEachCeilingAndNothingBelowIt) {  // [S49]
  const auto limit_of = [](auto change) { return refusal_after(change).limit; };
  EXPECT_EQ(limit_of([](Limits& l) { l.max_pulse = 200ms; }), "none");
  EXPECT_EQ(limit_of([](Limits& l) { l.max_pulse = 200ms + 1ns; }), "ceiling");
  EXPECT_EQ(limit_of([](Limits& l) { l.duty_percent = 40.0; }), "none");
  EXPECT_EQ(limit_of([](Limits& l) { l.duty_percent = 40.001; }), "ceiling");
  EXPECT_EQ(limit_of([](Limits& l) { l.max_coil_c = 120.0; }), "none");
  EXPECT_EQ(limit_of([](Limits& l) { l.max_coil_c = 120.001; }), "ceiling");
  EXPECT_EQ(limit_of([](Limits& l) { l.max_energy_j = 0.5; }), "none");
  EXPECT_EQ(limit_of([](Limits& l) { l.max_energy_j = 0.5001; }), "ceiling");
  EXPECT_EQ(limit_of([](Limits& l) { l.max_tip_pressure_pa = 2.0e6; }), "none");
  EXPECT_EQ(limit_of([](Limits& l) { l.max_tip_pressure_pa = 2.0001e6; }), "ceiling");
}

TEST(CheckLimits, RefusesLimitsThatContradictEachOther) {  // [S50]
  const auto limit_of = [](auto change) { return refusal_after(change).limit; };
  EXPECT_EQ(limit_of([](Limits& l) { l.max_on_in_span = 301s; }), "duty");
  EXPECT_EQ(limit_of([](Limits& l) { l.max_on_in_span = 29ms; }), "duty");
  EXPECT_EQ(limit_of([](Limits& l) { l.duty_span = 25h; }), "duty");
  EXPECT_EQ(limit_of([](Limits& l) { l.duty_percent = 1e-7; }), "duty");
  EXPECT_EQ(limit_of([](Limits& l) { l.coil_margin_k = 105.0; }), "coil temperature");
}

TEST(CheckLimits, LetsLimitsPassThatJustAgree) {  // [S50]
  const auto limit_of = [](auto change) { return refusal_after(change).limit; };
  EXPECT_EQ(limit_of([](Limits& l) { l.duty_span = 24h; }), "none");
  EXPECT_EQ(limit_of([](Limits& l) { l.max_on_in_span = l.duty_span; }), "none");
  EXPECT_EQ(limit_of([](Limits& l) { l.max_on_in_span = l.max_pulse; }), "none");
  EXPECT_EQ(limit_of([](Limits& l) { l.coil_margin_k = 0.0; }), "none");
}

// physics.md section 7: 28.6 N on a 3 mm rod press with 405 N/cm2; 50 N/cm2 (IEC 61010-1,
// 7.3.4) needs a tip of 8.6 mm.
TEST(CheckLimits, RefusesATipThatPressesTooHardAndSaysWhichWouldFit) {  // [S48]
  const Refusal refusal = refusal_after([](Limits& l) { l.tip_diameter_m = 0.003; });
  EXPECT_EQ(refusal.limit, "tip pressure");
  EXPECT_THAT(refusal.reason, AllOf(HasSubstr("404.6 N/cm2"), HasSubstr("8.6 mm would fit")));
  EXPECT_EQ(refusal_after([](Limits& l) { l.tip_diameter_m = 0.0086; }).limit, "none");
}

TEST(CheckStrike, HoldsTheImpactEnergyExactly) {  // [S47]
  Limits limits = example_limits();
  limits.max_energy_j = 0.0064;  // physics_checks.csv S24: 20 g at 0.8 m/s
  EXPECT_FALSE(check_strike(limits, {800'000}));
  const auto refusal = check_strike(limits, {800'001});
  ASSERT_TRUE(refusal);
  EXPECT_EQ(refusal->limit, "impact energy");
  EXPECT_THAT(refusal->reason, HasSubstr("at most 0.800 m/s would fit"));
}

TEST(CheckStrike, RefusesAStrikeThatIsNone) {  // [S47]
  EXPECT_TRUE(check_strike(example_limits(), {0}));
  EXPECT_TRUE(check_strike(example_limits(), {-800'000}));
  EXPECT_TRUE(check_strike(example_limits(), {std::numeric_limits<std::int64_t>::max()}));
  EXPECT_TRUE(check_strike(example_limits(), {std::numeric_limits<std::int64_t>::min()}));
}

TEST(CheckStrike, RefusesWhenTheLimitIsNoNumber) {  // [S47]
  Limits limits = example_limits();
  limits.max_energy_j = nan;
  EXPECT_TRUE(check_strike(limits, {100'000}));
}

}  // namespace
}  // namespace plexor::safety
