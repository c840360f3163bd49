#include "analysis/response/rated_response.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <stdexcept>
#include <vector>

#include "analysis/response/penalised_profile.hpp"

namespace plexor::analysis {
namespace {

constexpr double half_chi_square = 1.920729;  // at 95 %, 1 degree

const std::vector<Dose> softer_to_harder{
    {0.2, 1, 20}, {0.4, 4, 20}, {0.6, 9, 20}, {0.8, 16, 20}, {1.0, 20, 20}};
const std::vector<Dose> hardly_rising{{1.0, 4, 10}, {2.0, 5, 10}, {3.0, 5, 10}, {4.0, 6, 10}};
/// Eight of a hundred are missed however hard they are.
const std::vector<Dose> lapsing{{-1.4, 2, 100},  {-1.2, 11, 100}, {-1.0, 38, 100}, {-0.8, 72, 100},
                                {-0.6, 90, 100}, {-0.4, 92, 100}, {-0.2, 92, 100}};

constexpr RatedModel with_lapse{.lapse = {.is_free = true}};
constexpr RatedModel with_guess{.guess = {.is_free = true}};
constexpr RatedModel with_both{.guess = {.is_free = true}, .lapse = {.is_free = true}};

std::vector<Dose> in_other_units(std::vector<Dose> doses) {
  for (Dose& dose : doses) dose.strength = 300.0 + 1000.0 * dose.strength;
  return doses;
}

double log_likelihood_by_hand(const std::vector<Dose>& doses, double threshold, double slope,
                              double guess, double lapse) {
  double sum = 0.0;
  for (const Dose& dose : doses) {
    const double core = share_at(Link::probit, slope * (dose.strength - threshold));
    const double share = guess + (1.0 - guess - lapse) * core;
    sum += static_cast<double>(dose.responded) * std::log(share) +
           static_cast<double>(dose.trials - dose.responded) * std::log1p(-share);
  }
  return sum;
}

TEST(RatedResponse, WithoutRatesIsThePlainCurve) {
  for (const Link link : {Link::logit, Link::probit, Link::cloglog}) {
    const auto rated = fit_rated(softer_to_harder, {.link = link});
    const auto plain = fit_response(softer_to_harder, link);
    ASSERT_TRUE(rated && plain);
    EXPECT_NEAR(rated->intercept, plain->intercept, 1e-5);
    EXPECT_NEAR(rated->slope, plain->slope, 1e-5);
    EXPECT_NEAR(rated->log_likelihood, plain->log_likelihood, 1e-9);
  }
}

// So many trials that the shares are the curve itself.
TEST(RatedResponse, FindsTheRatesThatWerePutIn) {
  std::vector<Dose> doses;
  for (double x = -3.0; x < 3.5; x += 0.5) {
    const double share = 0.04 + (1.0 - 0.04 - 0.07) * share_at(Link::probit, 1.5 * x - 0.3);
    doses.push_back({x, static_cast<std::uint64_t>(std::llround(1e7 * share)), 10'000'000});
  }
  const auto fit = fit_rated(doses, with_both);
  EXPECT_NEAR(fit->guess, 0.04, 1e-5);
  EXPECT_NEAR(fit->lapse, 0.07, 1e-5);
  EXPECT_NEAR(fit->slope, 1.5, 1e-4);
  EXPECT_NEAR(fit->intercept, -0.3, 1e-4);
}

TEST(RatedResponse, HoldsARateAtItsValue) {
  const auto fit = fit_rated(lapsing, {.lapse = {.value = 0.08}});
  EXPECT_EQ(fit->lapse, 0.08);
  EXPECT_EQ(fit->guess, 0.0);
  EXPECT_LE(fit->log_likelihood, fit_rated(lapsing, with_lapse)->log_likelihood);
  EXPECT_GT(fit->log_likelihood, fit_rated(lapsing, {})->log_likelihood);
}

TEST(RatedResponse, AThresholdIsOfTheShareDetectedInAll) {
  const auto fit = fit_rated(lapsing, with_both);
  for (const double share : {0.1, 0.5, 0.9}) {
    EXPECT_NEAR(share_at(*fit, strength_of(*fit, share).value()), share, 1e-9);
  }
  EXPECT_NEAR(fit->lapse, 0.08, 0.01);
  EXPECT_FALSE(strength_of(*fit, 0.95));
  const auto guessing = fit_rated(softer_to_harder, {.guess = {.value = 0.2}});
  EXPECT_FALSE(strength_of(*guessing, 0.19));
  EXPECT_TRUE(strength_of(*guessing, 0.21));
}

// At an end the best curve through the share loses half the chi-square quantile, however the slope
// and the lapse rate are turned.
TEST(RatedResponse, AtTheEndsOfAThresholdNoCurveIsLikelyEnough) {
  const auto fit = fit_rated(lapsing, with_lapse);
  const Interval interval = profile_strength(lapsing, *fit, 0.5, 0.95);
  for (const double end : {interval.lower, interval.upper}) {
    double best = -1e9;
    for (double slope = 2.0; slope < 12.0; slope += 0.01) {
      for (double lapse = 0.0; lapse < 0.2; lapse += 0.001) {
        const double threshold = end - eta_of(Link::probit, 0.5 / (1.0 - lapse)) / slope;
        best = std::max(best, log_likelihood_by_hand(lapsing, threshold, slope, 0.0, lapse));
      }
    }
    EXPECT_NEAR(fit->log_likelihood - best, half_chi_square, 0.002);
  }
}

TEST(RatedResponse, AtTheEndsOfASlopeNoCurveIsLikelyEnough) {
  const auto fit = fit_rated(softer_to_harder, {});
  const Interval interval = profile_slope(softer_to_harder, *fit, 0.95);
  for (const double end : {interval.lower, interval.upper}) {
    double best = -1e9;
    for (double threshold = 0.2; threshold < 1.0; threshold += 0.0001) {
      best = std::max(best, log_likelihood_by_hand(softer_to_harder, threshold, end, 0.0, 0.0));
    }
    EXPECT_NEAR(fit->log_likelihood - best, half_chi_square, 0.001);
  }
}

TEST(RatedResponse, DoesNotDependOnUnitsOrGrouping) {
  std::vector<Dose> apart;
  for (const Dose& dose : in_other_units(lapsing)) {
    for (std::uint64_t i = 0; i < dose.trials; ++i) {
      apart.push_back({dose.strength, i < dose.responded ? 1U : 0U, 1});
    }
  }
  const auto here = fit_rated(lapsing, with_lapse);
  const auto there = fit_rated(apart, with_lapse);
  EXPECT_NEAR(there->lapse, here->lapse, 1e-5);
  EXPECT_NEAR(there->slope * 1000.0, here->slope, 1e-3);
  const Interval near = profile_strength(lapsing, *here, 0.5, 0.95);
  const Interval far = profile_strength(apart, *there, 0.5, 0.95);
  EXPECT_NEAR(far.lower, 300.0 + 1000.0 * near.lower, 0.01);
  EXPECT_NEAR(far.upper, 300.0 + 1000.0 * near.upper, 0.01);
}

TEST(RatedResponse, AFlatCurveBoundsNoThreshold) {
  const auto fit = fit_rated(hardly_rising, {});
  const Interval interval = profile_strength(hardly_rising, *fit, 0.5, 0.95);
  EXPECT_TRUE(std::isinf(interval.lower) && interval.lower < 0.0);
  EXPECT_TRUE(std::isinf(interval.upper) && interval.upper > 0.0);
  EXPECT_EQ(profile_slope(hardly_rising, *fit, 0.95).lower, 0.0);
}

TEST(RatedResponse, TooManyLapsesLeaveAHighShareWithoutUpperEnd) {
  const auto fit = fit_rated(lapsing, with_lapse);
  const Interval interval = profile_strength(lapsing, *fit, 0.95, 0.95);
  EXPECT_TRUE(std::isinf(interval.upper));
  EXPECT_GT(interval.lower, -0.8);
  const auto held = fit_rated(lapsing, {});
  EXPECT_TRUE(std::isfinite(profile_strength(lapsing, *held, 0.95, 0.95).upper));
}

TEST(RatedResponse, AShareThatLapsesRuleOutHasNoStrengthAtAll) {
  std::vector<Dose> many = lapsing;
  for (Dose& dose : many) dose = {dose.strength, 20 * dose.responded, 20 * dose.trials};
  const Interval interval = profile_strength(many, *fit_rated(many, with_lapse), 0.95, 0.95);
  EXPECT_TRUE(std::isinf(interval.lower) && interval.lower > 0.0);
  EXPECT_TRUE(std::isinf(interval.upper) && interval.upper > 0.0);
}

// Of 60 trials at a strength where all are detected, none was a lapse: 60 ln(1 - lapse) loses half
// the square of 1.645.
TEST(RatedResponse, BoundsTheLapsesByTheTrialsThatCouldHaveShownThem) {
  const std::vector<Dose> doses{{-2.0, 0, 30}, {-1.0, 14, 30}, {0.0, 30, 30}, {3.0, 60, 60}};
  const auto fit = fit_rated(doses, with_lapse);
  const double most = -std::expm1(-1.644854 * 1.644854 / 2.0 / 90.0);
  EXPECT_NEAR(upper_bound_of_lapse(doses, *fit, 0.95), most, 0.001);
  const auto guessing = fit_rated(doses, with_guess);
  const double least = -std::expm1(-1.644854 * 1.644854 / 2.0 / 30.0);
  EXPECT_NEAR(upper_bound_of_guess(doses, *guessing, 0.95), least, 0.01);
  EXPECT_THROW((void)upper_bound_of_guess(doses, *fit, 0.95), std::domain_error);
}

TEST(RatedResponse, WidensByWhatAnotherModelAllows) {
  const auto plain = fit_rated(softer_to_harder, {});
  const auto other = fit_rated(softer_to_harder, with_lapse);
  const Interval before = profile_strength(softer_to_harder, *plain, 0.95, 0.95);
  Interval after = before;
  widen_strength(after, softer_to_harder, *other, 0.95, 0.0);
  EXPECT_EQ(after.upper, before.upper);
  widen_strength(after, softer_to_harder, *other, 0.95, half_chi_square);
  EXPECT_TRUE(std::isinf(after.upper));  // 20 trials at the top leave 5 % lapses possible
  EXPECT_LE(after.lower, before.lower);
}

TEST(RatedResponse, ABandIsNarrowWhereTheTrialsAre) {
  const auto fit = fit_rated(softer_to_harder, {});
  const std::vector<double> strengths{0.3, 0.65, 2.0};
  const auto band = band_of(softer_to_harder, *fit, strengths, 0.95);
  ASSERT_EQ(band.size(), 3U);
  for (const BandPoint& point : band) {
    EXPECT_LT(point.lower, point.share);
    EXPECT_GT(point.upper, point.share);
    EXPECT_NEAR(point.share, share_at(*fit, point.strength), 1e-12);
  }
  // At the threshold the share moves by the slope of the curve times what the threshold moves.
  const auto plain = fit_response(softer_to_harder, Link::probit);
  const double eta_error = std::sqrt(plain->intercept_variance + 1.3 * plain->covariance +
                                     0.4225 * plain->slope_variance);
  const double share = band[1].share;
  const double density = std::exp(-0.5 * std::pow(eta_of(Link::probit, share), 2)) / 2.5066283;
  const double half = 1.959964 * eta_error * density / (share * (1.0 - share));
  EXPECT_NEAR(std::log(band[1].upper / (1.0 - band[1].upper)),
              std::log(share / (1.0 - share)) + half, 1e-3);
}

TEST(RatedResponse, SaysNothingWhereOneStrengthDivides) {
  const std::vector<Dose> step{{1.0, 0, 10}, {2.0, 0, 10}, {3.0, 10, 10}, {4.0, 10, 10}};
  EXPECT_FALSE(fit_rated(step, {}));
  EXPECT_FALSE(fit_rated(std::vector<Dose>{{1.0, 10, 10}, {2.0, 10, 10}}, with_lapse));
  EXPECT_FALSE(fit_rated(std::vector<Dose>{{1.0, 3, 10}}, with_lapse));
  EXPECT_TRUE(fit_rated(step, with_lapse)->is_step);
}

TEST(RatedResponse, RefusesWhatIsNoRate) {
  EXPECT_THROW((void)fit_rated(softer_to_harder, {.lapse = {.value = 0.6}}), std::domain_error);
  EXPECT_THROW((void)fit_rated(std::vector<Dose>{{1.0, 3, 2}}, {}), std::domain_error);
  const auto fit = fit_rated(softer_to_harder, {});
  EXPECT_THROW((void)profile_strength(softer_to_harder, *fit, 1.0, 0.95), std::domain_error);
  EXPECT_THROW((void)profile_strength(softer_to_harder, *fit, 0.5, 1.0), std::domain_error);
}

TEST(PenalisedProfile, LosesHalfTheChiSquareAtItsEnds) {
  const std::vector<Dose> step{{0.3, 0, 10}, {0.5, 0, 10}, {0.7, 10, 10}, {0.9, 10, 10}};
  const auto fit = fit_penalised(step);
  const double top = penalised_log_likelihood(step, fit->intercept, fit->slope);
  const Interval interval = penalised_strength_interval(step, *fit, 0.5, 0.95);
  EXPECT_GT(interval.lower, 0.5);
  EXPECT_LT(interval.upper, 0.7);
  for (const double end : {interval.lower, interval.upper}) {
    double best = -1e9;
    for (double slope = 1.0; slope < 200.0; slope += 0.01) {
      best = std::max(best, penalised_log_likelihood(step, -slope * end, slope));
    }
    EXPECT_NEAR(top - best, half_chi_square, 1e-3);
  }
}

TEST(PenalisedProfile, DoesNotDependOnUnits) {
  const std::vector<Dose> step{{0.3, 0, 10}, {0.5, 0, 10}, {0.7, 10, 10}, {0.9, 10, 10}};
  const auto moved = in_other_units(step);
  const Interval here = penalised_slope_interval(step, *fit_penalised(step), 0.95);
  const Interval there = penalised_slope_interval(moved, *fit_penalised(moved), 0.95);
  EXPECT_NEAR(there.lower * 1000.0, here.lower, 1e-3);
  EXPECT_NEAR(there.upper * 1000.0, here.upper, 1e-3);
}

TEST(PenalisedProfile, HasNoEndsWhereTheSlopeIsNotShown) {
  const std::vector<Dose> few{{1, 0, 1}, {2, 0, 1}, {3, 1, 1}, {4, 0, 1}, {5, 1, 1}, {6, 1, 1}};
  const Interval half = penalised_strength_interval(few, *fit_penalised(few), 0.5, 0.95);
  EXPECT_TRUE(std::isinf(half.lower));
  EXPECT_TRUE(std::isinf(half.upper));
  EXPECT_EQ(penalised_slope_interval(few, *fit_penalised(few), 0.95).lower, 0.0);
}

}  // namespace
}  // namespace plexor::analysis
