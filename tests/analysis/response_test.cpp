#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <vector>

#include "analysis/response/binary_response.hpp"
#include "analysis/response/up_and_down.hpp"

namespace plexor::analysis {
namespace {

const std::vector<Dose> louder{
    {0.2, 1, 20}, {0.4, 4, 20}, {0.6, 9, 20}, {0.8, 16, 20}, {1.0, 20, 20}};

std::vector<Dose> remeasured(std::vector<Dose> doses, double offset, double unit) {
  for (Dose& dose : doses) dose.strength = offset + unit * dose.strength;
  return doses;
}

TEST(BinaryResponse, GoesThroughTwoShares) {
  for (const Link link : {Link::logit, Link::probit, Link::cloglog}) {
    const auto fit = fit_response(std::vector<Dose>{{1.0, 20, 100}, {2.0, 70, 100}}, link);
    ASSERT_TRUE(fit);
    EXPECT_NEAR(share_at(link, fit->intercept + fit->slope), 0.2, 1e-9);
    EXPECT_NEAR(share_at(link, fit->intercept + 2.0 * fit->slope), 0.7, 1e-9);
    EXPECT_NEAR(fit->deviance, 0.0, 1e-9);
    EXPECT_EQ(fit->degrees, 0.0);
  }
}

TEST(BinaryResponse, LinksAndSharesAreInverse) {
  for (const Link link : {Link::logit, Link::probit, Link::cloglog}) {
    for (const double share : {0.001, 0.2, 0.5, 0.95, 0.999}) {
      EXPECT_NEAR(share_at(link, eta_of(link, share)), share, 1e-12);
    }
  }
  EXPECT_THROW((void)eta_of(Link::logit, 1.0), std::domain_error);
}

// m/s or mm/s, counted from zero or from elsewhere: the same threshold.
TEST(BinaryResponse, DoesNotDependOnTheUnitOfStrength) {
  const Threshold here = threshold_of(*fit_response(louder, Link::logit), 0.5, 0.95).value();
  const Threshold there =
      threshold_of(*fit_response(remeasured(louder, 300.0, 1000.0), Link::logit), 0.5, 0.95)
          .value();
  EXPECT_NEAR(there.strength, 300.0 + 1000.0 * here.strength, 1e-6);
  EXPECT_NEAR(there.standard_error, 1000.0 * here.standard_error, 1e-6);
  EXPECT_NEAR(there.fieller->lower, 300.0 + 1000.0 * here.fieller->lower, 1e-5);
  EXPECT_NEAR(there.fieller->upper, 300.0 + 1000.0 * here.fieller->upper, 1e-5);
}

TEST(BinaryResponse, DoesNotDependOnHowTrialsAreGrouped) {
  std::vector<Dose> apart;
  for (const Dose& dose : louder) {
    for (std::uint64_t i = 0; i < dose.trials; ++i) {
      apart.push_back({dose.strength, i < dose.responded ? 1U : 0U, 1});
    }
  }
  EXPECT_NEAR(fit_response(apart, Link::probit)->slope, fit_response(louder, Link::probit)->slope,
              1e-9);
  EXPECT_NEAR(fit_penalised(apart)->slope, fit_penalised(louder)->slope, 1e-9);
}

TEST(BinaryResponse, AnsweredByNothingWhereDataSeparate) {
  const std::vector<Dose> step{{1.0, 0, 10}, {2.0, 0, 10}, {3.0, 10, 10}};
  EXPECT_EQ(separation_of(step), Separation::complete);
  EXPECT_FALSE(fit_response(step, Link::logit));
  const auto penalised = fit_penalised(step);
  ASSERT_TRUE(penalised);
  const double half = threshold_of(*penalised, 0.5, 0.95)->strength;
  EXPECT_GT(half, 2.0);
  EXPECT_LT(half, 3.0);
  EXPECT_FALSE(fit_penalised(std::vector<Dose>{{1.0, 3, 10}}));
  EXPECT_FALSE(fit_response(std::vector<Dose>{}, Link::logit));
}

TEST(BinaryResponse, AFlatCurveBoundsNoThreshold) {
  const auto fit = fit_response(
      std::vector<Dose>{{1.0, 4, 10}, {2.0, 5, 10}, {3.0, 5, 10}, {4.0, 6, 10}}, Link::logit);
  const Threshold half = threshold_of(*fit, 0.5, 0.95).value();
  EXPECT_GE(half.fieller_g, 1.0);
  EXPECT_FALSE(half.fieller);
}

TEST(BinaryResponse, RefusesWhatIsNoCount) {
  EXPECT_THROW((void)fit_response(std::vector<Dose>{{1.0, 3, 2}}, Link::logit), std::domain_error);
  EXPECT_THROW((void)fit_penalised(std::vector<Dose>{{std::nan(""), 1, 2}}), std::domain_error);
  const auto fit = fit_response(louder, Link::logit);
  EXPECT_THROW((void)threshold_of(*fit, 0.0, 0.95), std::domain_error);
  EXPECT_THROW((void)threshold_of(*fit, 0.5, 1.0), std::domain_error);
}

TEST(UpAndDown, SaysNothingWithoutBothKinds) {
  EXPECT_FALSE(up_and_down(std::vector<UpDownTrial>{{1.0, true}, {0.5, true}}, 0.5));
  EXPECT_THROW((void)up_and_down(std::vector<UpDownTrial>{}, 0.0), std::domain_error);
}

}  // namespace
}  // namespace plexor::analysis
