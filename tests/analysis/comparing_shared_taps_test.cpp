#include "analysis/comparing/shared_taps.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>

#include "analysis/comparing/orders.hpp"

namespace plexor::analysis {
namespace {

using Trials = std::vector<std::vector<bool>>;

/// All ways to give each trial's successes to the units, each as likely: how far off is unit 0?
double brute_force_p(const Trials& trials) {
  std::vector<double> chances{1.0};  // by successes of unit 0
  std::size_t seen = 0;
  for (const auto& trial : trials) {
    std::vector<bool> arrangement = trial;
    std::sort(arrangement.begin(), arrangement.end());
    double with = 0.0;
    double all = 0.0;
    do {
      all += 1.0;
      with += arrangement[0] ? 1.0 : 0.0;
    } while (std::next_permutation(arrangement.begin(), arrangement.end()));
    std::vector<double> next(chances.size() + 1, 0.0);
    for (std::size_t i = 0; i < chances.size(); ++i) {
      next[i] += chances[i] * (1.0 - with / all);
      next[i + 1] += chances[i] * with / all;
    }
    chances = next;
    seen += trial[0] ? 1U : 0U;
  }

  double below = 0.0;
  double above = 0.0;
  for (std::size_t i = 0; i < chances.size(); ++i) {
    if (i <= seen) below += chances[i];
    if (i >= seen) above += chances[i];
  }
  return std::min(1.0, 2.0 * std::min(below, above));
}

/// Outcomes that look random and are the same everywhere.
Trials outcomes(std::size_t trials, std::size_t units, std::uint32_t seed) {
  Trials made;
  for (std::size_t i = 0; i < trials; ++i) {
    std::vector<bool>& one = made.emplace_back();
    for (std::size_t unit = 0; unit < units; ++unit) {
      seed = seed * 1664525U + 1013904223U;
      one.push_back((seed >> 24U) > (unit == 0 ? 90U : 40U));
    }
  }
  return made;
}

TEST(SharedDeviations, AgreeWithAllPermutations) {
  for (const std::uint32_t seed : {1U, 2U, 3U, 4U}) {
    for (const std::size_t units : {2U, 3U, 4U}) {
      const Trials trials = outcomes(12, units, seed);
      EXPECT_NEAR(shared_deviations(trials)[0].p, brute_force_p(trials), 1e-12);
    }
  }
}

// For two units it is McNemar's test: 3 of 12 differing trials, 2 * P(Bin(12, 1/2) <= 3) = 0.146.
TEST(SharedDeviations, OfTwoUnitsAreMcNemars) {
  Trials trials(20, {true, true});
  for (int i = 0; i < 3; ++i) trials.push_back({true, false});
  for (int i = 0; i < 9; ++i) trials.push_back({false, true});
  const auto found = shared_deviations(trials);
  EXPECT_NEAR(found[0].p, 598.0 / 4096.0, 1e-12);
  EXPECT_FALSE(found[0].higher);
  EXPECT_TRUE(found[1].higher);
  EXPECT_NEAR(found[0].adjusted_p, 2.0 * found[0].p, 1e-12);
}

TEST(SharedDeviations, SayNothingWhereAllAgree) {
  for (const UnitDeviation& one : shared_deviations(Trials(50, {true, true, true}))) {
    EXPECT_EQ(one.p, 1.0);
  }
}

TEST(SharedDeviations, AreNearlyTheSameByTheNormalDistribution) {
  // Just beyond the exact ones, and just within.
  const auto p_of = [](std::size_t differing) {
    Trials trials;
    for (std::size_t i = 0; i < differing; ++i) {
      const bool first = i % 1000 < 485;
      trials.push_back({first, !first, i % 2 == 0});
    }
    return shared_deviations(trials)[0].p;
  };
  EXPECT_NEAR(p_of(most_exact_differing), p_of(most_exact_differing + 1), 0.002);
}

TEST(SharedDeviations, RefuseWhatTheyCanNotTell) {
  EXPECT_THROW((void)shared_deviations(Trials{}), std::domain_error);
  EXPECT_THROW((void)shared_deviations(Trials{{true}}), std::domain_error);
  EXPECT_THROW((void)shared_deviations(Trials{{true, false}, {true}}), std::domain_error);
}

TEST(Orders, PutEachUnitOnceAtEachPlaceAndOnceInEachRun) {
  for (std::size_t units = 1; units <= 16; ++units) {
    const auto square = latin_square(units, units);
    ASSERT_EQ(square.size(), units);
    for (std::size_t i = 0; i < units; ++i) {
      std::vector<bool> in_run(units);
      std::vector<bool> at_place(units);
      for (std::size_t j = 0; j < units; ++j) {
        in_run.at(square.at(i).at(j)) = true;
        at_place.at(square.at(j).at(i)) = true;
      }
      EXPECT_EQ(std::count(in_run.begin(), in_run.end(), false), 0);
      EXPECT_EQ(std::count(at_place.begin(), at_place.end(), false), 0);
    }
  }
}

TEST(Orders, DependOnTheSeedAlone) {
  EXPECT_EQ(latin_square(6, 3), latin_square(6, 3));
  EXPECT_NE(latin_square(6, 3), latin_square(6, 4));
}

TEST(Orders, GoThereAndBack) {
  const auto turns = there_and_back(2);
  ASSERT_EQ(turns.size(), 8U);
  double drift = 0.0;  // a steady one must cancel
  for (std::size_t i = 0; i < turns.size(); ++i) {
    drift += (turns[i] == Turn::base ? -1.0 : 1.0) * static_cast<double>(i);
  }
  EXPECT_EQ(drift, 0.0);
  EXPECT_EQ(turns.front(), Turn::base);
}

}  // namespace
}  // namespace plexor::analysis
