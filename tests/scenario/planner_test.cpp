#include "scenario/planner.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <algorithm>
#include <cmath>
#include <set>
#include <string>
#include <utility>

#include <cmath>
#include <set>
#include <stdexcept>

#include "plans.hpp"
#include "scenario_texts.hpp"

namespace plexor::scenario {
namespace {

using namespace base;
using ::testing::ElementsAre;

const std::string jitter = "[jitter]\nmodel = \"human\"\ntempo_cv = 0.06\nmotor_sd_ms = 5\n";
const std::string spread = "{ mean = 0.9, cv = 0.1 }";
const std::string quiet = "[[block]]\nquiet_s = 100\nstretch_s = 30\n";
const std::string reference =
    "[reference]\nevery_trials = 4\nstrike_m_s = 0.8\ntransit_tolerance_ms = 0.5\n";

Scenario mixed() {
  return parsed(head + rhythms + jitter + block_of("call", 30, spread) +
                block_of("help", 10, spread) + quiet);
}

Scenario in_order(const std::string& blocks) {
  return parsed(head + "order = \"in-order\"\n" + rhythms + blocks);
}

TEST(Planner, PresentsEachTrialExactlyOnce) {
  const Scenario scenario = mixed();
  std::set<TrialId> seen;
  std::vector<std::size_t> counts(3);
  for (const Trial& trial : whole_plan(scenario)) {
    EXPECT_TRUE(seen.insert(trial.id).second);
    EXPECT_EQ(trial.id.attempt, 0U);
    ++counts.at(trial.id.block);
  }
  EXPECT_THAT(counts, ElementsAre(30, 10, 4));
}

TEST(Planner, CountsDownWhatRemains) {
  const Scenario scenario = mixed();
  History history(scenario);
  for (std::uint64_t left = 44; left > 0; --left) {
    EXPECT_EQ(history.remaining(), left);
    ASSERT_TRUE(take(scenario, history));
  }
  EXPECT_EQ(history.remaining(), 0U);
  EXPECT_FALSE(next(scenario, history));
}

TEST(Planner, IsPure) {
  const Scenario scenario = mixed();
  const History history(scenario);
  EXPECT_EQ(next(scenario, history), next(scenario, history));
  EXPECT_EQ(whole_plan(scenario), whole_plan(scenario));
}

TEST(Planner, PlansAnotherRunForAnotherSeed) {
  Scenario scenario = mixed();
  const auto plan = whole_plan(scenario);
  scenario.seed += 1;
  EXPECT_NE(plan, whole_plan(scenario));
}

TEST(Planner, KeepsTheOrderOfTheFileWhereAsked) {
  const auto plan = whole_plan(in_order(block_of("call", 5) + quiet + block_of("help", 5)));
  std::vector<TrialId> ids;
  for (const Trial& trial : plan) ids.push_back(trial.id);
  EXPECT_EQ(ids.size(), 14U);
  EXPECT_TRUE(std::is_sorted(ids.begin(), ids.end()));
}

TEST(Planner, InterleavesBlocksEvenly) {
  // The first half of 300 + 100 trials ends in the middle of a round of 12 + 4, which holds a
  // hypergeometric number of the first block: n K/N (1 - K/N) (N - n)/(N - 1) = 0.8 is its
  // variance, and the mean of the whole half is 150.
  Scenario scenario = parsed(head + rhythms + block_of("call", 300) + block_of("help", 100));
  double sum = 0.0;
  double sum_2 = 0.0;
  constexpr int runs = 400;
  for (scenario.seed = 0; scenario.seed < runs; ++scenario.seed) {
    auto plan = whole_plan(scenario);
    plan.resize(200);
    const auto d = static_cast<double>(of_block(plan, 0).size()) - 150.0;
    sum += d;
    sum_2 += d * d;
  }
  EXPECT_NEAR(sum / runs, 0.0, 5.0 * std::sqrt(0.8 / runs));
  EXPECT_NEAR(sum_2 / runs, 0.8, 5.0 * 0.8 * std::sqrt(2.0 / runs));
}

TEST(Planner, MayBeginWithAnyBlock) {
  Scenario scenario = mixed();
  std::set<std::uint32_t> first;
  for (scenario.seed = 0; scenario.seed < 100; ++scenario.seed) {
    first.insert(next(scenario, History(scenario))->id.block);
  }
  EXPECT_EQ(first.size(), 3U);
}

TEST(Planner, RepeatsVoidTrialsAfterAllOthersWithTheSameDraws) {
  const Scenario scenario = mixed();
  History history(scenario);
  std::vector<Trial> voided;
  std::vector<Trial> rest;
  for (int i = 0; i < 44; ++i) {
    const Trial trial = *take(scenario, history);
    if (i % 9 != 0) continue;
    history.voided(trial.id);
    voided.push_back(trial);
  }
  const auto repeats = take_rest(scenario, history);
  std::stable_sort(voided.begin(), voided.end(), [](const Trial& a, const Trial& b) {
    return a.id.block < b.id.block;  // repeats come block by block, in the order of voiding
  });
  ASSERT_EQ(repeats.size(), voided.size());
  for (std::size_t i = 0; i < repeats.size(); ++i) {
    ++voided[i].id.attempt;
    EXPECT_EQ(repeats[i], voided[i]);
  }
}

TEST(Planner, RepeatsUntilATrialCounts) {
  const Scenario scenario = in_order(block_of("call", 1));
  History history(scenario);
  for (std::uint32_t attempt = 0; attempt < 5; ++attempt) {
    const auto trial = take(scenario, history);
    ASSERT_TRUE(trial);
    EXPECT_EQ(trial->id.attempt, attempt);
    history.voided(trial->id);
    EXPECT_EQ(history.remaining(), 1U);
  }
  ASSERT_TRUE(take(scenario, history));
  EXPECT_FALSE(next(scenario, history));
}

TEST(Planner, RepeatsATrialVoidForTwoReasonsOnce) {
  const Scenario scenario = in_order(block_of("call", 2));
  History history(scenario);
  const TrialId id = take(scenario, history)->id;
  history.voided(id);
  history.voided(id);
  EXPECT_EQ(history.remaining(), 2U);
  (void)take(scenario, history);
  const TrialId repeat = take(scenario, history)->id;
  history.voided(id);  // its repeat is taken by now
  EXPECT_EQ(history.remaining(), 0U);
  history.voided(repeat);
  EXPECT_EQ(history.remaining(), 1U);
}

TEST(Planner, GivesEachBlockItsShareOfEveryRound) {
  const Scenario scenario =
      parsed(head + rhythms + block_of("call", 400) + block_of("help", 100) + block_of("call", 7));
  const auto plan = whole_plan(scenario);
  ASSERT_EQ(plan.size(), 507U);
  const double rounds = std::ceil(507.0 / static_cast<double>(trials_per_round));
  std::vector<double> presented(3);
  for (const Trial& trial : plan) {
    presented[trial.id.block] += 1.0;
    const double done = presented[0] + presented[1] + presented[2];
    for (std::size_t block = 0; block < 3; ++block) {
      const double share = done * scenario.blocks[block].trials / 507.0;
      EXPECT_NEAR(presented[block], share, 507.0 / rounds);
    }
  }
}

TEST(Planner, MixesAtRandomWithinARound) {
  const Scenario scenario = parsed(head + rhythms + block_of("call", 400) + block_of("help", 400));
  std::set<std::string> rounds;
  std::string round;
  for (const Trial& trial : whole_plan(scenario)) {
    round += trial.id.block == 0 ? 'c' : 'h';
    if (static_cast<std::int64_t>(round.size()) < trials_per_round) continue;
    EXPECT_EQ(std::count(round.begin(), round.end(), 'c'), trials_per_round / 2);
    rounds.insert(std::exchange(round, ""));
  }
  EXPECT_GT(rounds.size(), 45U) << "of 50";
}

TEST(Planner, GoesOnWithABlockThatWasStopped) {
  const Scenario scenario = mixed();
  History history(scenario);
  for (int i = 0; i < 10; ++i) (void)take(scenario, history);
  const std::uint64_t left = history.remaining();
  history.set_stopped(0, true);
  EXPECT_LT(history.remaining(), left);
  history.set_stopped(0, false);
  EXPECT_EQ(history.remaining(), left);
  EXPECT_EQ(take_rest(scenario, history).size(), left);
}

TEST(Planner, CountsWhatItPlans) {
  const PlannedCounts planned =
      planned_counts(parsed(head + rhythms +
                            "[rhythm.mug-down]\ncontacts_ms = [0]\nexpects = "
                            "\"nothing\"\n" +
                            block_of("call", 3) + block_of("help", 4) + block_of("mug-down", 5) +
                            "[[block]]\nquiet_s = 65\nstretch_s = 30\ngap_ms = 1500\n"));
  EXPECT_EQ(planned.expecting, 7U);
  EXPECT_EQ(planned.distractors, 5U);
  EXPECT_EQ(planned.quiet, std::chrono::seconds{65});
}

TEST(Planner, StopsABlockForGood) {
  const Scenario scenario = mixed();
  History history(scenario);
  for (int i = 0; i < 10; ++i) {
    const Trial trial = *take(scenario, history);
    if (trial.id.block == 0) history.voided(trial.id);
  }
  history.set_stopped(0, true);
  const auto rest = take_rest(scenario, history);
  EXPECT_TRUE(of_block(rest, 0).empty());
  EXPECT_FALSE(rest.empty());
}

TEST(Planner, GivesOtherBlocksTheSameDrawsWhateverOneBlockDoes) {
  const Scenario scenario = mixed();
  const auto undisturbed = whole_plan(scenario);
  History history(scenario);
  std::vector<Trial> disturbed;
  for (int i = 0; i < 15; ++i) {
    disturbed.push_back(*take(scenario, history));
    if (disturbed.back().id.block == 0) history.voided(disturbed.back().id);
  }
  history.set_stopped(0, true);
  for (const Trial& trial : take_rest(scenario, history)) disturbed.push_back(trial);
  for (const std::uint32_t block : {1U, 2U}) {
    EXPECT_EQ(of_block(disturbed, block), of_block(undisturbed, block));
  }
}

TEST(Planner, GivesABlockTheSameDrawsHoweverManyTrialsOthersHave) {
  const Scenario few =
      parsed(head + rhythms + jitter + block_of("call", 3, spread) + block_of("help", 10, spread));
  const Scenario many = parsed(head + rhythms + jitter + block_of("call", 300, spread) +
                               block_of("help", 10, spread));
  EXPECT_EQ(of_block(whole_plan(few), 1), of_block(whole_plan(many), 1));
}

TEST(Planner, RefusesAHistoryThatItCannotHaveGiven) {
  const Scenario scenario = in_order(block_of("call", 2));
  History history(scenario);
  EXPECT_THROW(history.took({0, 1, 0}), std::logic_error);
  EXPECT_THROW(history.took({0, 0, 1}), std::logic_error);
  EXPECT_THROW(history.voided({0, 0, 0}), std::logic_error);
  EXPECT_THROW(history.took({1, 0, 0}), std::logic_error);
  EXPECT_THROW((void)draw_trial(scenario, {0, 2, 0}), std::logic_error);
}

std::string kinds(const std::vector<Trial>& plan) {
  std::string text;
  for (const Trial& trial : plan) text += trial.kind == TrialKind::reference ? 'R' : '.';
  return text;
}

TEST(ReferenceTaps, OpenRecurAndCloseTheRun) {
  EXPECT_EQ(kinds(whole_plan(in_order(block_of("call", 10) + reference))), "R....R....R..R");
  EXPECT_EQ(kinds(whole_plan(in_order(block_of("call", 8) + reference))), "R....R....R");
  EXPECT_EQ(kinds(whole_plan(in_order(block_of("call", 1) + quiet + reference))), "R....R.R");
}

TEST(ReferenceTaps, AreEvenAndAlike) {
  const Scenario scenario = in_order(block_of("call", 10) + reference);
  const auto groups = of_kind(whole_plan(scenario), TrialKind::reference);
  for (std::uint32_t i = 0; i < groups.size(); ++i) {
    EXPECT_EQ(groups[i].id, (TrialId{reference_block, i, 0}));
    EXPECT_THAT(groups[i].taps,
                ElementsAre(Tap{0ms, {800'000}}, Tap{600ms, {800'000}}, Tap{1200ms, {800'000}}));
    EXPECT_EQ(groups[i].window, 600ms);
    EXPECT_EQ(groups[i].gap, 1500ms);
  }
}

TEST(ReferenceTaps, KeepLateAnswersOutOfTheNextTrial) {
  const std::string slow = replaced(replaced(call_block, "1200", "4000"), "[1500, 2500]", "5000");
  EXPECT_EQ(next(in_order(slow + reference), History(in_order(slow + reference)))->gap, 4s);
}

TEST(ReferenceTaps, CloseAgainAfterRepeats) {
  const Scenario scenario = in_order(block_of("call", 2) + reference);
  History history(scenario);
  auto plan = take_rest(scenario, history);
  history.voided({0, 0, 0});
  history.voided({0, 1, 0});
  for (const Trial& trial : take_rest(scenario, history)) plan.push_back(trial);
  EXPECT_EQ(kinds(plan), "R..R..R");
}

TEST(ReferenceTaps, AreRepeatedAtOnceWhenVoid) {
  const Scenario scenario = in_order(block_of("call", 2) + reference);
  History history(scenario);
  history.voided(take(scenario, history)->id);
  EXPECT_EQ(take(scenario, history)->id, (TrialId{reference_block, 0, 1}));
  EXPECT_EQ(kinds(take_rest(scenario, history)), "..R");
}

TEST(ReferenceTaps, LeaveTheOrderOfTheOthersAlone) {
  const std::string blocks = block_of("call", 20) + block_of("help", 20);
  auto with = whole_plan(parsed(head + rhythms + blocks + reference));
  std::erase_if(with, [](const Trial& t) { return t.kind == TrialKind::reference; });
  EXPECT_EQ(with, whole_plan(parsed(head + rhythms + blocks)));
}

TEST(ExpectedDuration, AddsRhythmsGapsQuietAndReferenceTaps) {
  EXPECT_EQ(expected_duration(in_order(block_of("call", 10))), 10 * (190ms + 2000ms));
  // 100 s in four stretches, each followed by the default gap.
  EXPECT_EQ(expected_duration(in_order(block_of("call", 10) + quiet)),
            10 * 2190ms + 100s + 4 * 1500ms);
  // Four groups of three taps: R....R....R..R
  EXPECT_EQ(expected_duration(in_order(block_of("call", 10) + reference)),
            10 * 2190ms + 4 * (1200ms + 1500ms));
}

TEST(ExpectedDuration, AgreesWithAPlanOnAverage) {
  const Scenario scenario = parsed(head + rhythms + jitter + block_of("call", 3000, spread) +
                                   block_of("help", 1000, spread) + quiet + reference);
  Duration sum{};
  for (const Trial& trial : whole_plan(scenario)) {
    sum += trial.gap + (trial.taps.empty() ? trial.window : trial.taps.back().contact);
  }
  EXPECT_NEAR(to_s(sum), to_s(expected_duration(scenario)), 0.005 * to_s(sum));
}

}  // namespace
}  // namespace plexor::scenario
