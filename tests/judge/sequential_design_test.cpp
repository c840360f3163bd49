#include "judge/sequential_design.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/poisson.hpp>
#include <cmath>
#include <cstdio>
#include <stdexcept>

#include "judge/sequential_checks.hpp"
#include "judge/sequential_walk.hpp"

namespace plexor::judge {
namespace {

const std::vector<SequentialAim>& aims() {
  static const std::vector<SequentialAim> all = {
      heard(0.98, 0.95, 0.05, 0.05), heard(0.99, 0.9, 0.05, 0.1), heard(0.999, 0.99, 0.1, 0.1),
      heard(0.9, 0.5, 0.01, 0.01),   heard(0.6, 0.4, 0.1, 0.05),  heard(0.9999, 0.5, 0.2, 0.2),
      alarms(0.1, 0.5, 0.05, 0.05),  alarms(0.5, 1.0, 0.1, 0.02), alarms(0.001, 0.1, 0.2, 0.1)};
  return all;
}

/// The errors of a test that looks once.
std::pair<double, double> fixed_errors(const SequentialAim& aim, const FixedPlan& plan) {
  const double allowed = static_cast<double>(plan.allowed);
  if (aim.kind == RateKind::detection) {
    if (allowed >= plan.exposure) return {0.0, 1.0};
    const auto misses = [&](double rate) {
      return boost::math::binomial(plan.exposure, 1.0 - rate);
    };
    return {cdf(complement(misses(aim.good), allowed)), cdf(misses(aim.bad), allowed)};
  }
  return {cdf(complement(boost::math::poisson(aim.good * plan.exposure), allowed)),
          cdf(boost::math::poisson(aim.bad * plan.exposure), allowed)};
}

bool fixed_keeps_both(const SequentialAim& aim, const FixedPlan& plan) {
  const auto [alpha, beta] = fixed_errors(aim, plan);
  return alpha <= aim.alpha * (1.0 + 1e-9) && beta <= aim.beta * (1.0 + 1e-9);
}

TEST(FixedPlan, IsTheLeastThatKeepsBothErrors) {
  for (const SequentialAim& aim : aims()) {
    const FixedPlan plan = fixed_plan(aim).value();
    EXPECT_TRUE(fixed_keeps_both(aim, plan)) << aim.good;
    const double step = aim.kind == RateKind::detection ? 1.0 : plan.exposure / 400.0;
    for (double exposure = plan.exposure - step; exposure > 0.0; exposure -= step)
      for (std::uint64_t allowed = 0; allowed <= plan.allowed + 2; ++allowed)
        EXPECT_FALSE(fixed_keeps_both(aim, {.exposure = exposure, .allowed = allowed}))
            << aim.good << ": " << exposure << ", " << allowed;
  }
}

TEST(FixedPlan, IsGivenUpWhereGoodAndBadAreTooNear) {
  EXPECT_EQ(fixed_plan(heard(0.98, 0.979, 0.05, 0.05)), std::nullopt);
  EXPECT_FALSE(decided_design(heard(0.98, 0.979, 0.05, 0.05)).has_value());
  EXPECT_EQ(fixed_plan(alarms(0.1, 0.1001, 0.05, 0.05)), std::nullopt);
}

TEST(DecidedDesign, KeepsBothErrorsAndAlwaysDecides) {
  for (const SequentialAim& aim : aims()) {
    const SequentialDesign design = decided_design(aim).value();
    EXPECT_NO_THROW(SequentialTest{design});
    const SequentialChances good = sequential_chances(design, aim.good);
    const SequentialChances bad = sequential_chances(design, aim.bad);
    EXPECT_LE(good.fail, aim.alpha * (1.0 + 1e-9)) << aim.good;
    EXPECT_LE(bad.pass, aim.beta * (1.0 + 1e-9)) << aim.good;
    for (double failures = 0.0; failures < 1.0; failures += 0.01)
      EXPECT_LT(sequential_chances(design, failures).undecided, 1e-15) << aim.good;
    const FixedPlan fixed = fixed_plan(aim).value();
    EXPECT_LE(design.longest, std::ceil(3.0 * fixed.exposure));
    EXPECT_LT(good.average, fixed.exposure);
    EXPECT_LT(bad.average, fixed.exposure);
  }
}

TEST(DecidedDesign, UsesUpBothErrorsOfHours) {
  for (const SequentialAim& aim : {alarms(0.1, 0.5, 0.05, 0.05), alarms(0.5, 1.0, 0.1, 0.02)}) {
    const SequentialDesign design = decided_design(aim).value();
    EXPECT_GT(sequential_chances(design, aim.good).fail, 0.999 * aim.alpha);
    EXPECT_GT(sequential_chances(design, aim.bad).pass, 0.999 * aim.beta);
  }
}

TEST(DecidedDesign, HasNoLimitThatCouldBeEarlier) {
  const SequentialAim aim = heard(0.98, 0.95, 0.05, 0.05);
  const SequentialDesign design = decided_design(aim).value();
  SequentialDesign sooner = design;
  for (double& limit : sooner.pass_from) limit -= 1.0;
  EXPECT_GT(sequential_chances(sooner, aim.bad).pass, aim.beta);
  sooner = design;
  for (double& limit : sooner.fail_until) limit = std::min(limit + 1.0, sooner.longest);
  EXPECT_GT(sequential_chances(sooner, aim.good).fail, aim.alpha);
}

TEST(DecidedDesign, OfGivenLengthEndsThere) {
  for (const SequentialAim& aim : aims()) {
    const FixedPlan fixed = fixed_plan(aim).value();
    const std::optional<SequentialDesign> design = decided_design(aim, fixed.exposure);
    ASSERT_TRUE(design.has_value()) << aim.good;
    EXPECT_EQ(design->longest, fixed.exposure);
    EXPECT_LE(sequential_chances(*design, aim.good).fail, aim.alpha * (1.0 + 1e-9));
    EXPECT_LE(sequential_chances(*design, aim.bad).pass, aim.beta * (1.0 + 1e-9));
    const double shorter =
        aim.kind == RateKind::detection ? fixed.exposure - 1.0 : 0.999 * fixed.exposure;
    EXPECT_FALSE(decided_design(aim, shorter).has_value()) << aim.good;
  }
}

TEST(DecidedDesign, AllowsAtItsEndWhatTheSlopeSays) {
  for (const SequentialAim& aim : {heard(0.98, 0.95, 0.05, 0.05), alarms(0.1, 0.5, 0.05, 0.05)}) {
    const SequentialDesign design = decided_design(aim).value();
    EXPECT_EQ(static_cast<double>(design.pass_from.size() - 1),
              std::floor(wald_lines(aim).slope * design.longest));
  }
}

TEST(DecidedDesign, StopsTrialsWhereTheEndCanNoLongerDiffer) {
  const SequentialAim aim = heard(0.98, 0.95, 0.05, 0.05);
  const SequentialDesign design = decided_design(aim, fixed_plan(aim).value().exposure).value();
  ASSERT_GT(design.pass_from.size(), 4U);
  for (std::size_t left = 0; left < 4; ++left)
    EXPECT_EQ(design.pass_from[design.pass_from.size() - 1 - left],
              design.longest - static_cast<double>(left));
  EXPECT_EQ(design.fail_until.size(), design.pass_from.size() + 1);
}

TEST(DecidedDesign, EndsWhereMoreWouldSaveNothing) {
  const SequentialAim aim = heard(0.98, 0.95, 0.05, 0.05);
  EXPECT_EQ(decided_design(aim, 1e6).value().longest, 3.0 * fixed_plan(aim).value().exposure);
  EXPECT_EQ(decided_design(aim, 700).value().longest, 700.0);
}

TEST(DecidedDesign, NeedsLittleMoreThanAnyTestMust) {
  const SequentialAim aim = heard(0.98, 0.95, 0.05, 0.05);
  const FixedPlan fixed = fixed_plan(aim).value();
  const WaldAverages bound = wald_averages(aim);
  const SequentialDesign design = decided_design(aim).value();
  const double at_good = sequential_chances(design, aim.good).average;
  const double at_bad = sequential_chances(design, aim.bad).average;
  const auto share = [&](const char* what, double trials, double least) {
    std::printf("%s: %.1f trials, %.3f of the fixed plan's, %.3f of Wald's bound (%.1f)\n", what,
                trials, trials / fixed.exposure, trials / least, least);
  };
  std::printf("fixed plan: %.0f trials, %d misses; sequential: at most %.0f, pass after %.0f\n",
              fixed.exposure, static_cast<int>(fixed.allowed), design.longest,
              earliest_pass(design));
  share("at good", at_good, bound.at_good);
  share("at bad", at_bad, bound.at_bad);
  EXPECT_LE(at_good, 1.1 * bound.at_good);
  EXPECT_LE(at_bad, 1.1 * bound.at_bad);
  EXPECT_LE(at_good, 0.58 * fixed.exposure);
  EXPECT_LE(at_bad, 0.5 * fixed.exposure);
}

/// What 20,000 virtual checks at a true rate came to.
struct Checks {
  static constexpr std::uint32_t count = 20'000;
  double passed = 0.0;
  double mean_exposure = 0.0;
  double sd_exposure = 0.0;
  double longest = 0.0;
};

Checks check_often(const SequentialDesign& design, double rate, std::uint64_t seed) {
  const SequentialTest test(design);
  Checks checks;
  double squares = 0.0;
  for (std::uint32_t check = 0; check < Checks::count; ++check) {
    const SequentialState end = virtual_check(test, rate, seed, check);
    checks.passed += end.standing == Standing::pass ? 1.0 / Checks::count : 0.0;
    checks.mean_exposure += end.exposure / Checks::count;
    squares += end.exposure * end.exposure / Checks::count;
    checks.longest = std::max(checks.longest, end.exposure);
  }
  checks.sd_exposure = std::sqrt(squares - checks.mean_exposure * checks.mean_exposure);
  return checks;
}

TEST(DecidedDesign, DoesInVirtualChecksWhatItsChancesSay) {
  constexpr double most_sd = 4.0;
  const double root = std::sqrt(static_cast<double>(Checks::count));
  std::uint64_t seed = 1;
  for (const SequentialAim& aim : {heard(0.98, 0.95, 0.05, 0.05), alarms(0.1, 0.5, 0.05, 0.1)}) {
    const SequentialDesign design = decided_design(aim).value();
    for (const double rate : {aim.good, aim.bad}) {
      const SequentialChances exact = sequential_chances(design, rate);
      const Checks checks = check_often(design, rate, seed++);
      EXPECT_NEAR(checks.passed, exact.pass, most_sd * std::sqrt(exact.pass * exact.fail) / root)
          << rate;
      EXPECT_NEAR(checks.mean_exposure, exact.average, most_sd * checks.sd_exposure / root) << rate;
      EXPECT_LE(checks.longest, design.longest);
    }
  }
}

}  // namespace
}  // namespace plexor::judge
