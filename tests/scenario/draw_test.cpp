#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <cmath>
#include <utility>

#include "base/random.hpp"
#include "plans.hpp"
#include "scenario/bounds.hpp"
#include "scenario_texts.hpp"

namespace plexor::scenario {
namespace {

using namespace base;
using ::testing::ElementsAre;

/// Share of its variance that a normal keeps when cut at 3 sd:
/// 1 - 2 * 3 * phi(3) / (2 * Phi(3) - 1) (the truncated normal of Johnson, Kotz & Balakrishnan
/// 1994, volume 1, chapter 13; from memory, agrees with the arithmetic).
constexpr double truncated_variance = 0.973337;

/// One block of 20000 trials of five contacts, 200 ms apart.
Scenario even_five(const std::string& jitter_keys, const std::string& strike = "0.9") {
  return parsed(head + "[rhythm.five]\ncontacts_ms = [0, 200, 400, 600, 800]\n" +
                (jitter_keys.empty() ? "" : "[jitter]\n" + jitter_keys) +
                block_of("five", 20000, strike));
}

struct Moments {
  double sum = 0.0;
  double sum_2 = 0.0;
  int n = 0;

  void add(double x) {
    sum += x;
    sum_2 += x * x;
    ++n;
  }
  [[nodiscard]] double mean() const { return sum / n; }
  [[nodiscard]] double variance() const { return sum_2 / n - mean() * mean(); }
  [[nodiscard]] double sd() const { return std::sqrt(variance()); }
};

/// By trial: how far each interval, in ms, is from its nominal 200.
std::vector<std::vector<double>> interval_errors(const Scenario& scenario) {
  std::vector<std::vector<double>> errors;
  for (const Trial& trial : whole_plan(scenario)) {
    std::vector<double> of_trial;
    for (std::size_t k = 1; k < trial.taps.size(); ++k) {
      of_trial.push_back(to_ms(trial.taps[k].contact - trial.taps[k - 1].contact) - 200.0);
    }
    errors.push_back(of_trial);
  }
  return errors;
}

/// Correlation of intervals `lag` apart; the mean error is taken as the 0 it must be.
double autocorrelation(const std::vector<std::vector<double>>& errors, std::size_t lag) {
  Moments all;
  Moments products;
  for (const auto& trial : errors) {
    for (const double e : trial) all.add(e);
    for (std::size_t j = lag; j < trial.size(); ++j) products.add(trial[j] * trial[j - lag]);
  }
  return products.mean() / all.variance();
}

/// All contacts of tap k, in ms.
Moments contacts_of(const Scenario& scenario, std::size_t k) {
  Moments moments;
  for (const Trial& trial : whole_plan(scenario)) moments.add(to_ms(trial.taps[k].contact));
  return moments;
}

TEST(Jitter, NoneKeepsTheRhythm) {
  const Trial trial = draw_trial(even_five(""), {0, 17, 0});
  std::vector<Duration> contacts;
  for (const Tap& tap : trial.taps) contacts.push_back(tap.contact);
  EXPECT_THAT(contacts, ElementsAre(0ms, 200ms, 400ms, 600ms, 800ms));
}

TEST(Jitter, NeverMovesTheFirstContact) {
  for (const auto* model :
       {"model = \"uniform\"\nspread_ms = 30\n", "model = \"normal\"\nsd_ms = 10\n",
        "model = \"human\"\ntempo_cv = 0.05\nmotor_sd_ms = 6\n"}) {
    const Scenario scenario = even_five(model);
    for (std::uint32_t i = 0; i < 200; ++i) {
      EXPECT_EQ(draw_trial(scenario, {0, i, 0}).taps.front().contact, 0ms) << model;
    }
  }
}

TEST(Jitter, UniformFillsItsSpreadEvenly) {
  const Moments moved = contacts_of(even_five("model = \"uniform\"\nspread_ms = 30\n"), 3);
  EXPECT_NEAR(moved.mean(), 600.0, 0.6);
  EXPECT_NEAR(moved.sd(), 30.0 / std::sqrt(3.0), 0.3);
}

TEST(Jitter, NormalHasItsSd) {
  const Moments moved = contacts_of(even_five("model = \"normal\"\nsd_ms = 10\n"), 4);
  EXPECT_NEAR(moved.mean(), 800.0, 0.35);
  EXPECT_NEAR(moved.sd(), 10.0 * std::sqrt(truncated_variance), 0.25);
}

TEST(Jitter, HumanHasClockAndMotorVariance) {
  // Wing & Kristofferson 1973: var(I) = clock variance + 2 * motor variance.
  const auto errors =
      interval_errors(even_five("model = \"human\"\ntempo_cv = 0.05\nmotor_sd_ms = 6\n"));
  for (std::size_t j = 0; j < 4; ++j) {
    Moments interval;
    for (const auto& trial : errors) interval.add(trial[j]);
    EXPECT_NEAR(interval.mean(), 0.0, 0.5) << j;
    EXPECT_NEAR(interval.variance(), truncated_variance * (10.0 * 10.0 + 2 * 6.0 * 6.0), 8.0) << j;
  }
}

TEST(Jitter, HumanIntervalsMakeUpForEachOther) {
  // Wing & Kristofferson 1973: lag-1 autocorrelation -motor^2 / (clock^2 + 2 motor^2),
  // between -0.5 and 0, and none at longer lags.
  const auto errors =
      interval_errors(even_five("model = \"human\"\ntempo_cv = 0.05\nmotor_sd_ms = 6\n"));
  EXPECT_NEAR(autocorrelation(errors, 1), -36.0 / (100.0 + 72.0), 0.02);
  EXPECT_NEAR(autocorrelation(errors, 2), 0.0, 0.02);
}

TEST(Jitter, HumanWithoutClockOrMotorReachesBothEnds) {
  const auto motor_only =
      interval_errors(even_five("model = \"human\"\ntempo_cv = 0\nmotor_sd_ms = 6\n"));
  EXPECT_NEAR(autocorrelation(motor_only, 1), -0.5, 0.02);
  const auto clock_only =
      interval_errors(even_five("model = \"human\"\ntempo_cv = 0.05\nmotor_sd_ms = 0\n"));
  EXPECT_NEAR(autocorrelation(clock_only, 1), 0.0, 0.02);
}

TEST(Draws, DependOnSeedBlockAndTrialButNotOnAttempt) {
  const std::string block = block_of("call", 3, "{ mean = 0.9, cv = 0.1 }");
  Scenario scenario = parsed(head + rhythms + block + block);
  const auto draws = [&](const TrialId& id) {
    const Trial trial = draw_trial(scenario, id);
    return std::pair(trial.taps, trial.gap);
  };
  const auto first = draws({0, 0, 0});
  EXPECT_EQ(first, draws({0, 0, 7}));
  EXPECT_NE(first, draws({0, 1, 0}));
  EXPECT_NE(first, draws({1, 0, 0}));
  scenario.seed += 1;
  EXPECT_NE(first, draws({0, 0, 0}));
}

TEST(Quiet, AddsUpToWhatWasAsked) {
  const auto plan = whole_plan(parsed(head + "[[block]]\nquiet_s = 100.25\nstretch_s = 30\n"));
  std::vector<Duration> stretches;
  for (const Trial& trial : plan) {
    EXPECT_EQ(trial.kind, TrialKind::quiet);
    EXPECT_TRUE(trial.taps.empty());
    EXPECT_EQ(trial.gap, default_gap);
    stretches.push_back(trial.window);
  }
  EXPECT_THAT(stretches, ElementsAre(30s, 30s, 30s, 10250ms));
}

TEST(Gap, IsDrawnEvenly) {
  Moments gaps;
  for (const Trial& trial : whole_plan(even_five(""))) gaps.add(to_ms(trial.gap));
  EXPECT_NEAR(gaps.mean(), 2000.0, 10.0);
  EXPECT_NEAR(gaps.sd(), 1000.0 / std::sqrt(12.0), 5.0);
}

TEST(Strength, FixedIsTheSameForEachTap) {
  for (const Tap& tap : draw_trial(even_five("", "0.7"), {0, 5, 0}).taps) {
    EXPECT_EQ(tap.strike.um_s, 700'000);
  }
}

TEST(Strength, SpreadIsDrawnForEachTap) {
  Moments speeds;
  for (const Trial& trial : whole_plan(even_five("", "{ mean = 0.9, cv = 0.1 }"))) {
    EXPECT_NE(trial.taps[0].strike, trial.taps[1].strike);
    for (const Tap& tap : trial.taps) speeds.add(to_m_s(tap.strike));
  }
  EXPECT_NEAR(speeds.mean(), 0.9, 0.002);
  EXPECT_NEAR(speeds.sd(), 0.09 * std::sqrt(truncated_variance), 0.001);
}

std::vector<std::int64_t> speeds_by_trial(const std::string& strike, int trials) {
  std::vector<std::int64_t> speeds;
  for (const Trial& trial : whole_plan(parsed(head + rhythms + block_of("call", trials, strike)))) {
    EXPECT_EQ(trial.taps[0].strike, trial.taps[1].strike);
    speeds.push_back(trial.taps[0].strike.um_s);
  }
  return speeds;
}

TEST(Strength, ListGoesInTurnByTrial) {
  EXPECT_THAT(speeds_by_trial("[0.3, 0.6, 0.9]", 5),
              ElementsAre(300'000, 600'000, 900'000, 300'000, 600'000));
}

TEST(Strength, RampReachesBothEndsEvenly) {
  EXPECT_THAT(speeds_by_trial("{ from = 0.3, to = 0.9 }", 4),
              ElementsAre(300'000, 500'000, 700'000, 900'000));
  EXPECT_THAT(speeds_by_trial("{ from = 0.9, to = 0.4 }", 4),
              ElementsAre(900'000, 733'333, 566'667, 400'000));
}

/// A scenario of one block with everything drawn, order of contacts not promised.
Scenario random_scenario(std::uint32_t which) {
  std::uint32_t draws = 0;
  const auto draw = [&](std::int64_t low, std::int64_t high) {
    return uniform_between({.seed = 99, .trial = which, .tap = draws++}, low, high);
  };
  Scenario scenario;
  scenario.seed = static_cast<std::uint64_t>(draw(0, 1'000'000));
  Rhythm rhythm{.name = "any", .contacts = {Duration{0}}, .expects = "any"};
  for (std::int64_t k = draw(0, 8); k > 0; --k) {
    rhythm.contacts.push_back(rhythm.contacts.back() + Duration{draw(1, 500'000'000)});
  }
  scenario.rhythms = {rhythm};
  scenario.jitter = {.model = static_cast<Jitter::Model>(draw(0, 3)),
                     .spread = Duration{draw(0, 50'000'000)},
                     .sd = Duration{draw(0, 20'000'000)},
                     .tempo_cv_ppm = draw(0, 330'000),
                     .motor_sd = Duration{draw(0, 10'000'000)}};
  Block block;
  block.trials = 50;
  block.strength = {.kind = static_cast<Strength::Kind>(draw(0, 3)),
                    .values = {{draw(10'000, 9'000'000)}, {draw(10'000, 9'000'000)}},
                    .cv_ppm = draw(0, 330'000)};
  block.gap_max = Duration{draw(0, 1'000'000)};
  scenario.blocks = {block};
  return scenario;
}

TEST(Envelope, BoundsEverythingThatCanBeDrawn) {
  for (std::uint32_t i = 0; i < 2000; ++i) {
    const Scenario scenario = random_scenario(i);
    const Envelope envelope = envelope_of(scenario, scenario.blocks[0]);
    for (const Trial& trial : whole_plan(scenario)) {
      ASSERT_EQ(trial.taps.size(), envelope.taps);
      ASSERT_LE(trial.taps.back().contact, envelope.longest_length) << i;
      for (std::size_t k = 0; k < trial.taps.size(); ++k) {
        ASSERT_GE(trial.taps[k].strike, envelope.slowest) << i;
        ASSERT_LE(trial.taps[k].strike, envelope.fastest) << i;
        if (k == 0) continue;
        ASSERT_GE(trial.taps[k].contact - trial.taps[k - 1].contact, envelope.shortest_interval)
            << i;
      }
    }
  }
}

TEST(Envelope, IsNoWiderThanTheDrawsCanReach) {
  // By hand, for intervals of 200 ms: 200 - 3 * 10 - 6 * 6 and 800 + 4 * 30 + 6 * 6.
  const Scenario scenario =
      even_five("model = \"human\"\ntempo_cv = 0.05\nmotor_sd_ms = 6\n", "{ mean = 1, cv = 0.1 }");
  const Envelope envelope = envelope_of(scenario, scenario.blocks[0]);
  EXPECT_EQ(envelope.shortest_interval, 134ms);
  EXPECT_EQ(envelope.longest_length, 956ms);
  EXPECT_EQ(envelope.slowest.um_s, 700'000);
  EXPECT_EQ(envelope.fastest.um_s, 1'300'000);
}

TEST(Envelope, OfFewerThanTwoTapsHasNoInterval) {
  const Scenario scenario = parsed(head + "[rhythm.door]\ncontacts_ms = 0\n" + block_of("door", 3) +
                                   "[[block]]\nquiet_s = 60\n");
  const Envelope one_tap = envelope_of(scenario, scenario.blocks[0]);
  EXPECT_EQ(one_tap.taps, 1U);
  EXPECT_EQ(one_tap.shortest_interval, Duration::max());
  EXPECT_EQ(one_tap.longest_length, 0ms);
  const Envelope quiet = envelope_of(scenario, scenario.blocks[1]);
  EXPECT_EQ(quiet.taps, 0U);
  EXPECT_EQ(quiet.shortest_interval, Duration::max());
}

}  // namespace
}  // namespace plexor::scenario
