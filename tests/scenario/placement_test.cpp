#include "scenario/placement.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <stdexcept>

#include "base/random.hpp"
#include "plans.hpp"
#include "scenario_texts.hpp"

namespace plexor::scenario {
namespace {

using base::StrikeSpeed;

Strength bayesian(double precision = 0.0) {
  Strength strength{.kind = Strength::Kind::adaptive, .values = {{200'000}, {1'400'000}}};
  strength.placing = {.precision_ppm = std::llround(precision * 1e6)};
  return strength;
}

Strength up_and_down() {
  Strength strength = bayesian();
  strength.placing->rule = Placing::Rule::up_and_down;
  strength.placing->start = {500'000};
  strength.placing->step_ppm = 100'000;
  return strength;
}

/// A device that hears half of the knocks at v50; its threshold is normal in ln v.
struct Listener {
  double v50 = 0.5;
  double spread = 0.15;

  [[nodiscard]] bool hears(StrikeSpeed speed, std::uint32_t seed, std::uint32_t trial) const {
    const auto bits = base::uniform_bits({.seed = seed, .trial = trial});
    const double z = static_cast<double>(base::normal_q32(bits)) / 4294967296.0;
    return std::log(base::to_m_s(speed) / v50) > spread * z;
  }
};

struct Found {
  std::uint32_t trials = 0;
  StrikeSpeed threshold;
};

Found find_threshold(Placement placement, const Listener& listener, std::uint32_t seed) {
  Found found;
  for (; !placement.is_precise() && found.trials < 500; ++found.trials) {
    const StrikeSpeed speed = placement.next();
    placement.answered(found.trials, speed, {listener.hears(speed, seed, found.trials)});
  }
  found.threshold = placement.threshold();
  return found;
}

TEST(Placement, TheSpeedsCoverTheRangeInSmallStepsBothEndsIncluded) {
  const auto speeds = placed_speeds(bayesian());
  EXPECT_EQ(speeds.front().um_s, 200'000);
  EXPECT_EQ(speeds.back().um_s, 1'400'000);
  for (std::size_t i = 1; i < speeds.size(); ++i) {
    const double ratio = base::to_m_s(speeds[i]) / base::to_m_s(speeds[i - 1]);
    EXPECT_GT(ratio, 1.0);
    EXPECT_LT(ratio, 1.0305);
  }
}

TEST(Placement, BayesianStrikesSofterAfterAHeardKnockAndHarderAfterAMissedOne) {
  Placement placement(bayesian(), 1);
  const StrikeSpeed first = placement.next();
  EXPECT_NEAR(base::to_m_s(first), std::sqrt(0.2 * 1.4), 0.06) << "the middle of the range";
  Placement heard = placement;
  heard.answered(0, first, {true});
  EXPECT_LT(heard.next(), first);
  placement.answered(0, first, {false});
  EXPECT_GT(placement.next(), first);
}

TEST(Placement, BayesianEndsAtThePrecisionAskedForAndIsRight) {
  std::uint32_t trials = 0;
  int within = 0;
  constexpr std::uint32_t runs = 40;
  const Placement fresh(bayesian(0.05), 1);
  for (std::uint32_t seed = 0; seed < runs; ++seed) {
    const Listener listener{.v50 = 0.3 + 0.015 * seed};
    const Found found = find_threshold(fresh, listener, seed);
    trials += found.trials;
    // The grid's step adds its half to the precision.
    within += std::abs(std::log(base::to_m_s(found.threshold) / listener.v50)) < 0.065 ? 1 : 0;
  }
  EXPECT_GE(within, 33) << "95 % of them, less 3 standard errors";
  EXPECT_LT(trials / runs, 95) << "54 at the least, by Fisher's information";
}

TEST(Placement, AskedForMorePrecisionItTakesMoreTrials) {
  const Listener listener;
  EXPECT_LT(find_threshold(Placement(bayesian(0.1), 1), listener, 1).trials,
            find_threshold(Placement(bayesian(0.05), 1), listener, 1).trials);
  EXPECT_EQ(find_threshold(Placement(bayesian(), 1), listener, 1).trials, 500U)
      << "none asked for: never";
}

TEST(Placement, ForThe95PercentItStrikesHarderThanForTheHalf) {
  const auto mean_of_speeds = [](std::int64_t percent) {
    Strength strength = bayesian();
    strength.placing->percent = percent;
    Placement placement(strength, 1);
    double sum = 0.0;
    for (std::uint32_t trial = 0; trial < 100; ++trial) {
      const StrikeSpeed speed = placement.next();
      placement.answered(trial, speed, {Listener{}.hears(speed, 4, trial)});
      sum += base::to_m_s(speed);
    }
    return sum / 100.0;
  };
  EXPECT_GT(mean_of_speeds(95), 1.05 * mean_of_speeds(50));
}

TEST(Placement, UpAndDownGoesAStepAtATimeAndStaysWithinTheRange) {
  Placement placement(up_and_down(), 1);
  auto answer = [&, trial = 0U](bool heard) mutable {
    placement.answered(trial++, placement.next(), {heard});
    return placement.next().um_s;
  };
  EXPECT_EQ(placement.next().um_s, 500'000);
  EXPECT_EQ(answer(true), 454'545);
  EXPECT_EQ(answer(true), 413'223);
  EXPECT_EQ(answer(false), 454'545);
  EXPECT_EQ(answer(false), 500'000);
  std::int64_t last = 0;
  for (int i = 0; i < 40; ++i) last = answer(true);
  EXPECT_GE(last, 200'000);
  EXPECT_LT(last, 220'000);
  for (int i = 0; i < 80; ++i) last = answer(false);
  EXPECT_LE(last, 1'400'000);
  EXPECT_GT(last, 1'400'000 / 1.1);
}

TEST(Placement, UpAndDownGivesEachDeviceItsOwnSeriesInTurn) {
  Placement placement(up_and_down(), 2);
  placement.answered(0, placement.next(), {true, false});
  EXPECT_EQ(placement.next().um_s, 500'000) << "the second device's first";
  placement.answered(1, placement.next(), {true, false});
  EXPECT_EQ(placement.next().um_s, 454'545) << "softer: the first one heard its own";
  placement.answered(2, placement.next(), {true, false});
  EXPECT_EQ(placement.next().um_s, 550'000) << "harder: the second one did not";
}

TEST(Placement, WithSeveralDevicesItGoesOnUntilEachIsKnown) {
  Placement placement(bayesian(0.06), 2);
  const Listener soft{.v50 = 0.4};
  const Listener hard{.v50 = 0.8};
  std::uint32_t trial = 0;
  for (; !placement.is_precise() && trial < 500; ++trial) {
    const StrikeSpeed speed = placement.next();
    placement.answered(trial, speed, {soft.hears(speed, 1, trial), hard.hears(speed, 2, trial)});
  }
  EXPECT_GT(trial, find_threshold(Placement(bayesian(0.06), 1), soft, 1).trials);
  EXPECT_LT(trial, 500U);
}

TEST(Placement, AnAnswerTakenBackIsAsIfItHadNeverBeen) {
  Placement with(bayesian(), 1);
  Placement without(bayesian(), 1);
  const auto speeds = placed_speeds(bayesian());
  for (std::uint32_t trial = 0; trial < 20; ++trial) {
    const StrikeSpeed speed = speeds[trial * 3 % speeds.size()];
    const bool heard = Listener{}.hears(speed, 9, trial);
    with.answered(trial, speed, {heard});
    if (trial != 7) without.answered(trial, speed, {heard});
  }
  with.take_back(7);
  with.take_back(99);
  EXPECT_EQ(with.next(), without.next());
  EXPECT_EQ(with.threshold(), without.threshold());
}

TEST(Placement, AnAnswerToWhatWasNotAskedIsAnError) {
  Placement placement(bayesian(), 1);
  EXPECT_THROW(placement.answered(0, {123'456}, {true}), std::logic_error);
  EXPECT_THROW(placement.answered(0, placement.next(), {true, false}), std::logic_error);
}

TEST(Placement, PlacesTheSameSpeedsOnEveryMachine) {
  std::uint64_t hash = 14695981039346656037U;  // FNV-1a
  Placement placement(bayesian(), 1);
  for (std::uint32_t trial = 0; trial < 60; ++trial) {
    const StrikeSpeed speed = placement.next();
    hash = (hash ^ static_cast<std::uint64_t>(speed.um_s)) * 1099511628211U;
    placement.answered(trial, speed, {Listener{}.hears(speed, 11, trial)});
  }
  EXPECT_EQ(hash, 15496468572452800086U);
}

const std::string adaptive_block =
    block_of("call", 60, "{ adaptive = \"bayesian\", from = 0.2, to = 1.4, recheck = 10 }");

/// Answers as the listener does, and gives the plan's trials.
std::vector<base::Trial> answered_plan(const std::string& text, std::uint32_t void_every = 0) {
  const Scenario scenario = parsed(text);
  History history(scenario);
  std::vector<base::Trial> trials;
  while (const auto trial = take(scenario, history)) {
    trials.push_back(*trial);
    if (void_every > 0 && trial->id.attempt == 0 && trials.size() % void_every == 0) {
      history.voided(trial->id);
      continue;
    }
    const StrikeSpeed strike = trial->taps.empty() ? StrikeSpeed{} : trial->taps.front().strike;
    history.answered(*trial, {Listener{}.hears(strike, 3, trial->id.number)});
  }
  return trials;
}

TEST(AdaptivePlan, ClosesInOnTheThresholdAndRechecksAtTheEnd) {
  const auto trials =
      of_block(answered_plan(head + rhythms + adaptive_block + block_of("help", 30)), 0);
  ASSERT_EQ(trials.size(), 60U);
  for (std::size_t i = 30; i < 50; ++i) {
    EXPECT_NEAR(base::to_m_s(trials[i].taps.front().strike), 0.5, 0.15) << i;
  }
  for (std::size_t i = 50; i < 60; ++i) {
    EXPECT_EQ(trials[i].taps, trials[50].taps) << "all re-checks strike at the same speed";
    EXPECT_NEAR(base::to_m_s(trials[i].taps.back().strike), 0.5, 0.05);
  }
}

TEST(AdaptivePlan, TheRecheckComesAfterAllOtherTrials) {
  const auto trials = answered_plan(head + rhythms + block_of("help", 40) + adaptive_block);
  for (std::size_t i = trials.size() - 10; i < trials.size(); ++i) {
    EXPECT_EQ(trials[i].id.block, 1U) << i;
    EXPECT_GE(trials[i].id.number, 50U);
  }
}

TEST(AdaptivePlan, EndsWithTheRecheckOnceTheThresholdIsKnown) {
  const auto trials = answered_plan(
      head + rhythms +
      block_of(
          "call", 500,
          "{ adaptive = \"bayesian\", from = 0.2, to = 1.4, precision = 0.08, recheck = 12 }"));
  EXPECT_LT(trials.size(), 120U);
  EXPECT_GT(trials.size(), 20U);
  for (std::size_t i = trials.size() - 12; i < trials.size(); ++i) {
    EXPECT_EQ(trials[i].taps, trials.back().taps);
  }
}

TEST(AdaptivePlan, AVoidTrialIsRepeatedWhereItTellsMostByThen) {
  const auto trials = answered_plan(head + rhythms + adaptive_block, 7);
  const auto valid = std::count_if(trials.begin(), trials.end(),
                                   [](const auto& trial) { return trial.id.attempt == 1; });
  EXPECT_EQ(valid, 8);
  const auto first = std::find_if(trials.begin(), trials.end(), [](const base::Trial& trial) {
    return trial.id == base::TrialId{0, 6, 1};
  });
  ASSERT_NE(first, trials.end());
  EXPECT_NE(first->taps, trials[6].taps);
  EXPECT_NEAR(base::to_m_s(first->taps.front().strike), 0.5, 0.15);
}

TEST(AdaptivePlan, LeavesTheDrawsOfOtherBlocksAlone) {
  const std::string other = block_of("help", 30, "{ mean = 0.8, cv = 0.1 }");
  const auto beside = of_block(answered_plan(head + rhythms + other + adaptive_block), 0);
  const auto alone = of_block(answered_plan(head + rhythms + other), 0);
  ASSERT_EQ(beside.size(), alone.size());
  for (std::size_t i = 0; i < alone.size(); ++i) EXPECT_EQ(beside[i].taps, alone[i].taps);
}

TEST(AdaptivePlan, ItsEnvelopeIsTheWholeRange) {
  const Scenario scenario = parsed(head + rhythms + adaptive_block);
  const Envelope envelope = envelope_of(scenario, scenario.blocks[0]);
  EXPECT_EQ(envelope.slowest.um_s, 200'000);
  EXPECT_EQ(envelope.fastest.um_s, 1'400'000);
}

TEST(AdaptiveStrength, ReadsAllItsKeys) {
  const auto strength =
      parsed(head + rhythms +
             block_of("call", 90,
                      "{ adaptive = \"up-and-down\", from = 0.2, to = 1.4, start = 0.7, step = 0.1,"
                      " percent = 95, precision = 0.05, recheck = 20 }"))
          .blocks[0]
          .strength;
  ASSERT_TRUE(strength.placing);
  EXPECT_EQ(*strength.placing, (Placing{.rule = Placing::Rule::up_and_down,
                                        .start = {700'000},
                                        .step_ppm = 100'000,
                                        .percent = 95,
                                        .precision_ppm = 50'000,
                                        .recheck = 20}));
}

std::string complaint_about(const std::string& strike, const std::string& rhythm = "call") {
  return complaint(head + rhythms + "[rhythm.mug]\ncontacts_ms = [0]\nexpects = \"nothing\"\n" +
                   block_of(rhythm, 20, strike));
}

TEST(AdaptiveStrength, SaysWhatIsWrong) {
  const std::string range = "{ adaptive = \"bayesian\", from = 0.5, to = ";
  EXPECT_NE(complaint_about(range + "0.52 }").find("0.52"), std::string::npos);
  EXPECT_NE(complaint_about(range + "1.0, percent = 80 }").find("50 or 95"), std::string::npos);
  EXPECT_NE(complaint_about(range + "1.0, start = 0.7 }").find("up-and-down only"),
            std::string::npos);
  EXPECT_NE(complaint_about(range + "1.0, recheck = 20 }").find("of which 20 re-check"),
            std::string::npos);
  EXPECT_NE(complaint_about(range + "1.0 }", "mug").find("a distractor"), std::string::npos);
  EXPECT_NE(complaint_about("{ from = 0.5, to = 1.0, precision = 0.1 }").find("beside adaptive"),
            std::string::npos);
  EXPECT_NE(complaint_about("{ adaptive = \"up-and-down\", from = 0.5, to = 1.0, start = 0.52, "
                            "step = 0.1 }")
                .find("softer and harder"),
            std::string::npos);
  EXPECT_NE(complaint_about("{ adaptive = \"guess\", from = 0.5, to = 1.0 }").find("bayesian"),
            std::string::npos);
}

}  // namespace
}  // namespace plexor::scenario
