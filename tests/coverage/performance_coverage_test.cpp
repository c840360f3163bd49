#include <gtest/gtest.h>

#include <cmath>
#include <cstdio>
#include <string>
#include <vector>

#include "analysis/performance/knock_strength.hpp"
#include "analysis/performance/made_performances.hpp"
#include "analysis/performance/timing.hpp"

// The intervals of what is learned from a person's knocks against known truth: 1,000 sets of
// performances for each rhythm, drawn by the planner.

namespace plexor {
namespace {

constexpr int performance_sets = 1000;
constexpr double confidence = 0.95;

struct Person {
  const char* name;
  const char* contacts_ms;
  double clock_cv;
  double motor_sd_ms;
  double tempo_cv;  ///< of whole performances, which the planner has not
  std::size_t performances;
};

struct Covered {
  int mean = 0;
  int drift = 0;
  int strength = 0;
  int clock = 0;
  int motor = 0;
  int tempo = 0;
  double clock_sum = 0.0;
  double motor_sum = 0.0;
};

std::string tables_of(const Person& person) {
  return std::string("[rhythm.made]\ncontacts_ms = ") + person.contacts_ms +
         "\n[jitter]\nmodel = \"human\"\ntempo_cv = " + std::to_string(person.clock_cv) +
         "\nmotor_sd_ms = " + std::to_string(person.motor_sd_ms) + "\n";
}

std::vector<analysis::Performance> performances_of_person(const Person& person, int seed) {
  const auto number = static_cast<std::uint64_t>(seed);
  auto performances = made::performances_drawn(made::scenario_around(
      tables_of(person), "{ mean = 0.9, cv = 0.15 }", number, person.performances));
  for (auto& performance : performances) {
    const auto z =
        base::truncated_normal_q32({.seed = number,
                                    .trial = static_cast<std::uint32_t>(performance.number),
                                    .purpose = base::Purpose::dice});
    const double tempo = 1.0 + person.tempo_cv * std::ldexp(static_cast<double>(z), -32);
    for (auto& knock : performance.knocks) knock.at_s *= tempo;
  }
  return performances;
}

bool contains(const analysis::Estimated& estimated, double truth) {
  return estimated.interval.lower <= truth && truth <= estimated.interval.upper;
}

Covered covered_of(const Person& person, double first_ms) {
  Covered covered;
  for (int seed = 1; seed <= performance_sets; ++seed) {
    const auto performances = performances_of_person(person, seed);
    const auto timing = analysis::timing_of(performances, confidence);
    const auto strength = analysis::knock_strength(performances, confidence);
    covered.mean += contains(timing.places[0].mean_ms, first_ms) ? 1 : 0;
    covered.drift += contains(timing.drift, 0.0) ? 1 : 0;
    covered.strength += contains(strength->cv, 0.15 * made::truncated_sd) ? 1 : 0;
    const auto& parts = timing.parts;
    covered.clock += contains(parts.clock_cv, person.clock_cv * made::truncated_sd) ? 1 : 0;
    covered.clock_sum += parts.clock_cv.value;
    if (parts.motor_sd_ms) {
      covered.motor +=
          contains(*parts.motor_sd_ms, person.motor_sd_ms * made::truncated_sd) ? 1 : 0;
      covered.motor_sum += parts.motor_sd_ms->value;
    }
    if (parts.tempo_cv) {
      covered.tempo += contains(*parts.tempo_cv, person.tempo_cv * made::truncated_sd) ? 1 : 0;
    }
  }
  std::printf(
      "%-28s of %d sets: mean %d, drift %d, strength %d, clock %d (mean estimate %.4f), motor %d "
      "(%.2f ms), tempo %d\n",
      person.name, performance_sets, covered.mean, covered.drift, covered.strength, covered.clock,
      covered.clock_sum / performance_sets, covered.motor, covered.motor_sum / performance_sets,
      covered.tempo);
  return covered;
}

// Three standard errors of 950 in 1,000.
constexpr int at_least = 929;
constexpr int at_most = 971;

void expect_stated_rate(int count) {
  EXPECT_GE(count, at_least);
  EXPECT_LE(count, at_most);
}

TEST(PerformanceCoverage, ShaveTwelveTimes) {
  const auto covered =
      covered_of({"shave, 12 times", "[0, 400, 600, 800, 1200]", 0.05, 8.0, 0.0, 12}, 400.0);
  expect_stated_rate(covered.mean);
  expect_stated_rate(covered.drift);
  expect_stated_rate(covered.strength);
  EXPECT_GE(covered.clock, at_least);
  EXPECT_GE(covered.motor, at_least);
  EXPECT_GE(covered.tempo, at_least);
}

TEST(PerformanceCoverage, HelpThirtyTimesWithATempoOfItsOwn) {
  const auto covered =
      covered_of({"help, tempo, 30 times", "[0, 150, 300, 450, 600]", 0.04, 6.0, 0.04, 30}, 150.0);
  EXPECT_GE(covered.clock, at_least);
  EXPECT_GE(covered.motor, at_least);
  EXPECT_GE(covered.tempo, at_least);
  EXPECT_NEAR(covered.motor_sum / performance_sets, 6.0, 0.9);
  EXPECT_NEAR(covered.clock_sum / performance_sets, 0.04, 0.006);
}

TEST(PerformanceCoverage, KilnTenTimes) {
  const auto covered = covered_of({"kiln, 10 times", "[0, 190, 380]", 0.06, 8.0, 0.0, 10}, 190.0);
  EXPECT_GE(covered.clock, at_least);
  EXPECT_GE(covered.motor, at_least);
}

TEST(PerformanceCoverage, KilnFiveTimes) {
  const auto covered = covered_of({"kiln, 5 times", "[0, 190, 380]", 0.06, 8.0, 0.0, 5}, 190.0);
  EXPECT_GE(covered.clock, at_least);
  EXPECT_GE(covered.motor, at_least);
}

TEST(PerformanceCoverage, CallTenTimesHasASingleInterval) {
  const auto covered = covered_of({"call, 10 times", "[0, 190]", 0.06, 0.0, 0.0, 10}, 190.0);
  expect_stated_rate(covered.mean);
  expect_stated_rate(covered.clock);
}

}  // namespace
}  // namespace plexor
