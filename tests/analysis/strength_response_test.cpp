#include "analysis/response/strength_response.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <stdexcept>
#include <vector>

#include "base/random.hpp"

namespace plexor::analysis {
namespace {

using ::testing::Contains;
using ::testing::HasSubstr;
using ::testing::StartsWith;

/// ln of speeds, so that tests and sentences speak of m/s.
Dose dosed(double speed_m_s, std::uint64_t detected, std::uint64_t trials) {
  return {std::log(speed_m_s), detected, trials};
}

const std::vector<Dose> oak{dosed(0.20, 1, 40),  dosed(0.25, 4, 40),  dosed(0.30, 13, 40),
                            dosed(0.36, 25, 40), dosed(0.43, 36, 40), dosed(0.52, 40, 40),
                            dosed(0.62, 40, 40), dosed(0.75, 40, 40)};
const std::vector<Dose> loose_clamp{
    dosed(0.20, 0, 100),  dosed(0.25, 9, 100),  dosed(0.30, 40, 100), dosed(0.36, 74, 100),
    dosed(0.43, 91, 100), dosed(0.52, 93, 100), dosed(0.62, 93, 100), dosed(0.75, 92, 100)};
const std::vector<Dose> divided{dosed(0.2, 0, 10), dosed(0.3, 0, 10), dosed(0.4, 10, 10),
                                dosed(0.5, 10, 10)};

/// Each trial at a strength of its own, detected as `share_of` its strength says.
template <typename Share>
std::vector<Dose> one_by_one(int trials, std::uint64_t seed, Share share_of) {
  std::vector<Dose> doses;
  for (int i = 0; i < trials; ++i) {
    const double strength = -1.4 + 1.2 * i / (trials - 1);
    const base::DrawKey key{
        .seed = seed, .trial = static_cast<std::uint32_t>(i), .purpose = base::Purpose::dice};
    const double drawn = std::ldexp(static_cast<double>(base::uniform_bits(key) >> 11), -53);
    doses.push_back({strength, drawn < share_of(strength) ? 1U : 0U, 1});
  }
  return doses;
}

double normal_share(double strength) { return share_at(Link::probit, (strength + 0.9) / 0.15); }

TEST(StrengthResponse, GivesBothThresholdsWithTheirIntervals) {
  const StrengthResponse found = strength_response(oak, 0.95);
  ASSERT_EQ(found.basis, ResponseBasis::likelihood);
  EXPECT_EQ(found.trials, 320U);
  EXPECT_EQ(found.link, Link::probit);
  EXPECT_FALSE(found.guess.is_in_curve);
  EXPECT_FALSE(found.lapse.is_in_curve);
  const auto plain = fit_response(oak, Link::probit);
  EXPECT_NEAR(found.slope, plain->slope, 1e-4);
  EXPECT_NEAR(*found.s50->strength, threshold_of(*plain, 0.5, 0.95)->strength, 1e-5);
  EXPECT_NEAR(found.s95->fieller->upper, threshold_of(*plain, 0.95, 0.95)->fieller->upper, 1e-9);
  for (const auto* threshold : {&found.s50, &found.s95}) {
    EXPECT_LT((*threshold)->profile.lower, (*threshold)->of_this_curve.lower + 1e-12);
    EXPECT_GE((*threshold)->profile.upper, (*threshold)->of_this_curve.upper);
    EXPECT_LT((*threshold)->profile.lower, *(*threshold)->strength);
  }
  EXPECT_NEAR(found.spread, 1.0 / found.slope, 1e-12);
  EXPECT_LT(found.spread_interval.lower, found.spread);
  EXPECT_GT(found.spread_interval.upper, found.spread);
  EXPECT_THAT(found.word, StartsWith("half are detected at 0.328 m/s (0.313 to 0.344 m/s); 95 %"));
  EXPECT_THAT(found.word, HasSubstr(" m/s ("));
}

TEST(StrengthResponse, TakesALapseRateWhereTheDataAskForIt) {
  const StrengthResponse found = strength_response(loose_clamp, 0.95);
  EXPECT_TRUE(found.lapse.is_in_curve);
  EXPECT_FALSE(found.guess.is_in_curve);
  EXPECT_NEAR(found.lapse.rate, 0.075, 0.01);
  EXPECT_LT(found.lapse.p, 0.001);
  EXPECT_GT(found.lapse.upper, found.lapse.rate);
  EXPECT_GT(found.guess.upper, 0.0);
  EXPECT_FALSE(found.s50->fieller);
  EXPECT_FALSE(found.s95->strength);
  EXPECT_THAT(found.s95->word, HasSubstr("are detected at no strength"));
  EXPECT_THAT(found.why_this_curve, HasSubstr("missed at any strength"));
  EXPECT_THAT(found.word, HasSubstr("95 % are detected at no strength"));
  std::vector<Dose> many = loose_clamp;
  for (Dose& dose : many) dose = {dose.strength, 20 * dose.responded, 20 * dose.trials};
  EXPECT_THAT(strength_response(many, 0.95).s95->word, HasSubstr("(95 % interval: no strength)"));
}

TEST(StrengthResponse, TakesAGuessRateWhereTheDataAskForIt) {
  std::vector<Dose> answering = loose_clamp;
  for (Dose& dose : answering) dose = {-dose.strength, dose.trials - dose.responded, dose.trials};
  const StrengthResponse found = strength_response(answering, 0.95);
  EXPECT_TRUE(found.guess.is_in_curve);
  EXPECT_FALSE(found.lapse.is_in_curve);
  EXPECT_NEAR(found.guess.rate, strength_response(loose_clamp, 0.95).lapse.rate, 1e-4);
}

TEST(StrengthResponse, LeavesTheHighShareOpenWhileLapsesMayBeMany) {
  const std::vector<Dose> near_half{dosed(0.28, 8, 30), dosed(0.33, 16, 30), dosed(0.39, 25, 30)};
  const StrengthResponse found = strength_response(near_half, 0.95);
  ASSERT_EQ(found.basis, ResponseBasis::likelihood);
  EXPECT_TRUE(std::isinf(found.s95->profile.upper));
  EXPECT_TRUE(std::isfinite(found.s95->of_this_curve.upper));
  EXPECT_TRUE(found.s95->is_extrapolated);
  EXPECT_FALSE(found.s50->is_extrapolated);
  EXPECT_THAT(found.s95->word, HasSubstr("harder than the hardest tapped, 0.390 m/s"));
  EXPECT_THAT(found.remarks, Contains(HasSubstr("is not excluded")));
}

TEST(StrengthResponse, PenalisesWhereOneStrengthDivides) {
  const StrengthResponse found = strength_response(divided, 0.95);
  ASSERT_EQ(found.basis, ResponseBasis::penalised);
  EXPECT_EQ(found.link, Link::logit);
  EXPECT_GT(std::exp(found.s50->profile.lower), 0.3);
  EXPECT_LT(std::exp(found.s50->profile.upper), 0.4);
  EXPECT_NEAR(found.spread, 1.8137994 / found.slope, 1e-6);
  EXPECT_FALSE(found.goodness);
  EXPECT_THAT(found.why_this_curve, HasSubstr("Firth"));
  EXPECT_THAT(found.remarks, Contains(HasSubstr("more sharply than the strengths tell apart")));
  EXPECT_EQ(found.curve.size(), 60U);
}

TEST(StrengthResponse, SaysWhatToTapWhereNothingElseCanBeSaid) {
  const auto word = [](const std::vector<Dose>& doses) {
    const StrengthResponse found = strength_response(doses, 0.95);
    EXPECT_EQ(found.basis, ResponseBasis::nothing);
    EXPECT_FALSE(found.s50);
    return found.word;
  };
  EXPECT_EQ(word({}), "there are no trials");
  EXPECT_EQ(word({dosed(0.5, 20, 20), dosed(0.3, 40, 40)}),
            "tap softer: even the weakest, 0.300 m/s, were detected 40 of 40 times");
  EXPECT_EQ(word({dosed(0.5, 0, 20), dosed(1.25, 0, 40)}),
            "tap harder: even the strongest, 1.25 m/s, were detected 0 of 40 times");
  EXPECT_EQ(word({dosed(0.5, 3, 20)}),
            "tap at other strengths too: all 20 trials were at 0.500 m/s, and 3 were detected");
  EXPECT_EQ(word({dosed(0.3, 1, 3), dosed(0.5, 3, 4)}),
            "tap more: 7 trials are too few for a curve, 10 are the least");
  EXPECT_EQ(word({dosed(0.3, 5, 12), dosed(0.5, 6, 12)}),
            "that harder taps are detected more often is not shown by 24 trials (5 of 12 detected "
            "in the weaker half, 6 of 12 in the stronger): tap more, or over a wider range");
  EXPECT_THAT(word({dosed(0.3, 11, 12), dosed(0.5, 2, 12)}), StartsWith("that harder taps"));
}

TEST(StrengthResponse, ShowsNoUnitWhereThereIsNone) {
  EXPECT_EQ(
      strength_response(std::vector<Dose>{dosed(0.5, 0, 20), dosed(1.0, 0, 4)}, 0.95, "").word,
      "tap harder: even the strongest, 1.00, were detected 0 of 4 times");
}

TEST(StrengthResponse, DoesNotDependOnOrderOrGrouping) {
  std::vector<Dose> apart;
  for (auto dose = oak.rbegin(); dose != oak.rend(); ++dose) {
    for (std::uint64_t i = 0; i < dose->trials; ++i) {
      apart.push_back({dose->strength, i < dose->responded ? 1U : 0U, 1});
    }
  }
  const StrengthResponse here = strength_response(oak, 0.95);
  const StrengthResponse there = strength_response(apart, 0.95);
  EXPECT_EQ(there.word, here.word);
  EXPECT_EQ(there.s95->profile.upper, here.s95->profile.upper);
  EXPECT_EQ(there.goodness->chi_square, here.goodness->chi_square);
  EXPECT_EQ(there.shown.size(), here.shown.size());
}

TEST(StrengthResponse, ShowsManyStrengthsInTwelveGroups) {
  const auto doses = one_by_one(240, 1, normal_share);
  const StrengthResponse found = strength_response(doses, 0.95);
  ASSERT_EQ(found.shown.size(), 12U);
  std::uint64_t trials = 0;
  for (const ShownDose& dose : found.shown) {
    EXPECT_EQ(dose.trials, 20U);
    trials += dose.trials;
    EXPECT_LE(dose.wilson.lower, static_cast<double>(dose.responded) / 20.0);
    EXPECT_GE(dose.wilson.upper, static_cast<double>(dose.responded) / 20.0);
  }
  EXPECT_EQ(trials, 240U);
  ASSERT_EQ(found.curve.size(), 60U);
  EXPECT_EQ(found.curve.front().strength, found.weakest);
  EXPECT_GE(found.curve.back().strength, found.strongest);
  for (std::size_t i = 1; i < found.curve.size(); ++i) {
    EXPECT_GT(found.curve[i].share, found.curve[i - 1].share);
  }
}

// Deviance says nothing of single trials; the groups do.
TEST(StrengthResponse, SeesThatTheSharesDoNotFollowTheCurve) {
  const StrengthResponse good = strength_response(one_by_one(400, 2, normal_share), 0.95);
  ASSERT_TRUE(good.goodness);
  EXPECT_GT(good.goodness->p, 0.05);
  EXPECT_EQ(good.heterogeneity, 1.0);
  const auto in_waves = [](double strength) {
    return std::clamp(normal_share(strength) + 0.45 * std::sin(14.0 * strength), 0.02, 0.98);
  };
  const StrengthResponse bad = strength_response(one_by_one(400, 2, in_waves), 0.95);
  ASSERT_TRUE(bad.goodness);
  EXPECT_LT(bad.goodness->p, 0.001);
  EXPECT_GT(bad.heterogeneity, 2.0);
  EXPECT_THAT(bad.remarks, Contains(HasSubstr("scatter about the curve more than chance")));
}

TEST(StrengthResponse, RefusesWhatIsNoConfidence) {
  EXPECT_THROW((void)strength_response(oak, 0.5), std::domain_error);
  EXPECT_THROW((void)strength_response(oak, 1.0), std::domain_error);
  EXPECT_THROW((void)strength_response(std::vector<Dose>{{0.0, 3, 2}}, 0.95), std::domain_error);
}

// Hosmer & Lemeshow's sum by hand: shares of 1/2 on a flat curve.
TEST(GroupedFit, SumsOverItsGroups) {
  RatedFit flat;
  flat.intercept = 0.0;
  const std::vector<Dose> doses{{1.0, 4, 10}, {2.0, 5, 10}, {3.0, 8, 10}, {4.0, 5, 10}};
  const auto found = grouped_fit(doses, flat);
  ASSERT_TRUE(found);
  EXPECT_EQ(found->groups, 4U);
  EXPECT_EQ(found->degrees, 2.0);
  EXPECT_NEAR(found->chi_square, (1.0 + 0.0 + 9.0 + 0.0) / 2.5, 1e-12);
  EXPECT_NEAR(found->p, std::exp(-2.0), 1e-12);
  flat.model.lapse.is_free = true;
  EXPECT_EQ(grouped_fit(doses, flat)->degrees, 1.0);
  flat.model.guess.is_free = true;
  EXPECT_FALSE(grouped_fit(doses, flat));
}

TEST(GroupedFit, NeverPartsEqualStrengths) {
  std::vector<Dose> doses;
  for (int i = 0; i < 30; ++i) doses.push_back({static_cast<double>(i), 1, i == 3 ? 50U : 1U});
  const auto groups = grouped_doses(doses, 12);
  EXPECT_LE(groups.size(), 12U);
  std::uint64_t trials = 0;
  for (const Dose& group : groups) trials += group.trials;
  EXPECT_EQ(trials, 79U);
  EXPECT_EQ(grouped_doses(std::vector<Dose>{{2.0, 1, 1}, {1.0, 0, 1}, {2.0, 0, 1}}, 12).size(), 2U);
}

}  // namespace
}  // namespace plexor::analysis
