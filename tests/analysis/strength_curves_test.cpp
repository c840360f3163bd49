#include "analysis/response/strength_curves.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>

#include "base/random.hpp"

namespace plexor::analysis {
namespace {

using ::testing::HasSubstr;

constexpr std::uint32_t before_recheck = 200;
constexpr std::uint32_t rechecks = 40;

const scenario::Scenario& rechecked_scenario() {
  static const scenario::Scenario scenario = scenario::parse_scenario(
      "[scenario]\nname = \"surface\"\npurpose = \"surface\"\nseed = 1\n"
      "[rhythm.call]\ncontacts_ms = [0]\n[[spot]]\nname = \"near\"\n[[spot]]\nname = \"far\"\n"
      "[[block]]\nrhythm = \"call\"\nspot = \"far\"\ntrials = 240\nwindow_ms = 100\ngap_ms = 200\n"
      "strike_m_s = { adaptive = \"bayesian\", from = 0.3, to = 0.9, recheck = 40 }\n",
      "surface.toml");
  return scenario;
}

/// A device that hears half at 0.5 m/s, and in the re-check at `later` m/s.
StrengthCurve curve_where_half_moves_to(double later, std::uint64_t seed) {
  StrengthCurves curves(rechecked_scenario(), "m/s");
  for (std::uint32_t number = 0; number < before_recheck + rechecks; ++number) {
    const bool is_recheck = number >= before_recheck;
    const double m_s = is_recheck ? 0.5 : 0.38 + 0.04 * (number % 7);
    const auto bits = base::uniform_bits({.seed = seed, .trial = number});
    const double z = static_cast<double>(base::normal_q32(bits)) / 4294967296.0;
    const bool hit = std::log(m_s / (is_recheck ? later : 0.5)) > 0.15 * z;
    base::Trial trial;
    trial.id = {0, number, 0};
    curves.count(trial, {std::llround(m_s * 1e6)}, hit);
  }
  return curves.finish().at(0);
}

TEST(StrengthCurves, AreByRhythmAndSpotAndCountAllTrials) {
  const StrengthCurve curve = curve_where_half_moves_to(0.5, 1);
  EXPECT_EQ(curve.rhythm, "call");
  EXPECT_EQ(curve.spot, 1U);
  EXPECT_EQ(curve.response.trials, before_recheck + rechecks);
  EXPECT_NEAR(std::exp(curve.response.s50.value().strength.value()), 0.5, 0.03);
}

TEST(Recheck, OfASurfaceThatStaysShowsNoChangeInNineteenOfTwenty) {
  int shown = 0;
  for (std::uint64_t seed = 1; seed <= 100; ++seed) {
    const auto recheck = curve_where_half_moves_to(0.5, seed).recheck;
    ASSERT_TRUE(recheck);
    EXPECT_EQ(recheck->trials, rechecks);
    shown += recheck->is_shown ? 1 : 0;
  }
  EXPECT_LE(shown, 12) << "5 to expect, and 3 standard errors";
}

TEST(Recheck, OfASurfaceThatTakesHarderKnocksSaysSoAndByHowMuch) {
  int covered = 0;
  for (std::uint64_t seed = 1; seed <= 20; ++seed) {
    const auto recheck = curve_where_half_moves_to(0.6, seed).recheck;
    ASSERT_TRUE(recheck);
    EXPECT_TRUE(recheck->is_shown) << seed;
    EXPECT_THAT(recheck->word, HasSubstr("changed during the run"));
    covered += recheck->interval.lower <= 0.2 && recheck->interval.upper >= 0.2 ? 1 : 0;
  }
  EXPECT_GE(covered, 16) << "of 20, the move by a fifth lies within";
}

}  // namespace
}  // namespace plexor::analysis
