#include "judge/sequential_limits.hpp"

#include <fmt/format.h>
#include <gtest/gtest.h>

#include <string>
#include <vector>

#include "judge/sequential_design.hpp"
#include "judge/sequential_walk.hpp"
#include "told_judge.hpp"

namespace plexor::judge {
namespace {

using base::Outcome;

constexpr std::uint32_t call_block = 0;
constexpr std::uint32_t mug_block = 1;
constexpr std::uint32_t quiet_block = 2;

scenario::Scenario with_accept(const std::string& accept, int trials = 1000) {
  return scenario::parse_scenario(
      "[scenario]\nname = \"s\"\npurpose = \"regression\"\nseed = 1\n"
      "[rhythm.call]\ncontacts_ms = [0, 190]\n"
      "[rhythm.mug-down]\ncontacts_ms = [0]\nexpects = \"nothing\"\n"
      "[[block]]\nrhythm = \"call\"\ntrials = " +
          std::to_string(trials) +
          "\nstrike_m_s = 0.9\nwindow_ms = 1200\ngap_ms = 1500\n"
          "[[block]]\nrhythm = \"mug-down\"\ntrials = 400\nstrike_m_s = 0.9\nwindow_ms = 1200\n"
          "gap_ms = 1500\n[[block]]\nquiet_s = 36000\n[accept]\n" +
          accept,
      "s.toml");
}

const std::string hits_limit = "detection_rate = { sequential = { good = 0.98, bad = 0.95 } }\n";
const std::string responses_limit =
    "false_response_rate = { sequential = { good = 0.01, bad = 0.05 } }\n";
const std::string alarms_limit =
    "false_alarms_per_hour = { sequential = { good = 0.2, bad = 2 } }\n";

/// Settles trials one after another, with one answer for each device.
class Teller {
 public:
  explicit Teller(SequentialLimits& limits) : limits_(limits) {}

  Settled trial(std::uint32_t block, std::vector<Outcome> outcomes, double latency_ms = 400.0) {
    Settled settled;
    settled.trial.id = {.block = block, .number = number_++, .attempt = 0};
    for (const Outcome outcome : outcomes) {
      Answer answer;
      answer.outcome = outcome;
      if (outcome == Outcome::hit) {
        answer.latency = base::Duration{static_cast<std::int64_t>(latency_ms * 1e6)};
      }
      settled.answers.push_back(answer);
    }
    limits_.count(settled);
    return settled;
  }
  void trials(int times, Outcome outcome, double latency_ms = 400.0) {
    for (int i = 0; i < times; ++i) trial(call_block, {outcome}, latency_ms);
  }
  Settled listen(base::Duration length, const std::vector<base::Duration>& incidents) {
    Answer answer;
    answer.outcome = Outcome::correct_rejection;
    for (const base::Duration incident : incidents) answer.incidents.push_back(at(incident));
    Settled settled;
    settled.trial.id = {.block = quiet_block, .number = number_++, .attempt = 0};
    settled.trial.kind = base::TrialKind::quiet;
    settled.trial.first_contact = settled.trial.last_contact = at(0ms);
    settled.trial.window = length;
    settled.answers = {answer};
    limits_.count(settled);
    return settled;
  }

 private:
  SequentialLimits& limits_;
  std::uint32_t number_ = 0;
};

TEST(SequentialLimits, StandInTheOrderOfTheVerdicts) {
  const auto limits = sequential_limits(with_accept(
      "confusion_rate = { sequential = { good = 0.01, bad = 0.05 } }\n" + responses_limit +
      alarms_limit + "latency_p95_ms = { at_most = 900, sequential = { good = 0.98 } }\n" +
      hits_limit));
  ASSERT_EQ(limits.size(), 5U);
  EXPECT_EQ(limits[0].counted, Counted::hits);
  EXPECT_EQ(limits[1].counted, Counted::answers_in_time);
  EXPECT_EQ(limits[1].within_ms, 900.0);
  EXPECT_EQ(limits[1].aim.bad, 0.95);
  EXPECT_EQ(limits[2].counted, Counted::alarms);
  EXPECT_EQ(limits[2].planned, 10.0);
  EXPECT_EQ(limits[3].counted, Counted::responses);
  EXPECT_EQ(limits[3].planned, 400.0);
  EXPECT_EQ(limits[3].aim.good, 0.99) << "of those that are ignored";
  EXPECT_EQ(limits[4].counted, Counted::confusions);
}

TEST(SequentialLimits, TakeTheBestTestThatThePlanHasRoomFor) {
  const SequentialAim aim{RateKind::detection, 0.98, 0.95, 0.05, 0.05};
  const auto longest = [](int trials) {
    const auto limits = sequential_limits(with_accept(hits_limit, trials));
    return limits[0].design ? limits[0].design->longest : 0.0;
  };
  EXPECT_EQ(longest(5000), decided_design(aim)->longest);
  EXPECT_EQ(longest(500), 500.0);
  EXPECT_EQ(longest(200), 200.0) << "Wald's lines, cut off";
  EXPECT_EQ(longest(50), 0.0) << "no device can pass";
}

/// Cut off by a short plan the test may end undecided, but never errs more often than promised.
TEST(SequentialLimits, KeepBothErrorsInAPlanThatIsTooShort) {
  int tried = 0;
  for (const double alpha : {0.05, 0.3}) {
    for (const double beta : {0.1, 0.4}) {
      for (const int trials : {24, 70, 120, 200}) {
        const auto limits = sequential_limits(with_accept(
            fmt::format("detection_rate = {{ sequential = {{ good = 0.9995, bad = 0.972, alpha = "
                        "{}, beta = {} }} }}\n",
                        alpha, beta),
            trials));
        if (!limits[0].design) continue;
        ++tried;
        EXPECT_LE(sequential_chances(*limits[0].design, 0.9995).fail, alpha * (1 + 1e-9));
        EXPECT_LE(sequential_chances(*limits[0].design, 0.972).pass, beta * (1 + 1e-9));
      }
    }
  }
  EXPECT_GT(tried, 8);
}

TEST(SequentialLimits, AreNotTestedWhereGoodAndBadAreOne) {
  const auto limits = sequential_limits(
      with_accept("detection_rate = { sequential = { good = 0.501, bad = 0.5 } }\n", 1'000'000));
  EXPECT_FALSE(limits[0].design);
  EXPECT_FALSE(limits[0].always_decides);
}

TEST(SequentialLimits, KnowABlockWhenTheTestOfEachDeviceHasEnded) {
  SequentialLimits limits(with_accept(hits_limit), 2);
  Teller tell(limits);
  for (int i = 0; i < 20; ++i) tell.trial(call_block, {Outcome::miss, Outcome::hit});
  EXPECT_EQ(limits.find(0, 0)->state().standing, Standing::fail);
  EXPECT_FALSE(limits.is_known(call_block)) << "the second device is still tested";
  const SequentialState stopped = limits.find(0, 0)->state();
  for (int i = 0; i < 200; ++i) tell.trial(call_block, {Outcome::hit, Outcome::hit});
  EXPECT_EQ(limits.find(0, 1)->state().standing, Standing::pass);
  EXPECT_TRUE(limits.is_known(call_block));
  EXPECT_EQ(limits.find(0, 0)->state(), stopped);
  EXPECT_FALSE(limits.is_known(mug_block)) << "no limit is on it";
  EXPECT_FALSE(limits.is_known(quiet_block));
}

TEST(SequentialLimits, CountWhatTheirLimitIsOn) {
  SequentialLimits limits(
      with_accept("latency_p95_ms = { at_most = 900, sequential = { good = 0.98 } }\n"
                  "confusion_rate = { sequential = { good = 0.01, bad = 0.05 } }\n" +
                  responses_limit),
      1);
  Teller tell(limits);
  tell.trials(1, Outcome::hit, 900.0);
  tell.trials(1, Outcome::hit, 900.001);
  tell.trials(1, Outcome::miss);
  tell.trials(1, Outcome::confusion);
  tell.trial(mug_block, {Outcome::false_response});
  tell.trial(mug_block, {Outcome::correct_rejection});
  EXPECT_EQ(limits.find(0, 0)->state().failures, 3U);
  EXPECT_EQ(limits.find(0, 0)->state().exposure, 4.0);
  const auto rejections = limits.find(1, 0)->state();
  EXPECT_EQ(rejections.failures, 1U);
  EXPECT_EQ(rejections.exposure, 2.0);
  EXPECT_EQ(limits.find(2, 0)->state().failures, 1U) << "confusions";
}

TEST(SequentialLimits, CountNoVoidTrialAndNoReferenceTaps) {
  SequentialLimits limits(with_accept(hits_limit), 1);
  Settled settled;
  settled.void_reason = base::VoidReason::no_contact;
  settled.answers.emplace_back();
  limits.count(settled);
  settled.void_reason.reset();
  settled.trial.kind = base::TrialKind::reference;
  settled.trial.id.block = base::reference_block;
  settled.answers.clear();
  limits.count(settled);
  EXPECT_EQ(limits.find(0, 0)->state(), SequentialState{});
}

TEST(SequentialLimits, ReopenWhatATrialTakenBackHadDecided) {
  SequentialLimits limits(with_accept(hits_limit), 1);
  Teller tell(limits);
  std::vector<Settled> misses;
  while (!limits.is_known(call_block)) misses.push_back(tell.trial(call_block, {Outcome::miss}));
  limits.take_back(misses.front().trial.id);
  EXPECT_FALSE(limits.is_known(call_block));
  EXPECT_EQ(limits.find(0, 0)->state().failures, misses.size() - 1);
  tell.trial(call_block, {Outcome::miss});
  EXPECT_TRUE(limits.is_known(call_block));
}

TEST(SequentialLimits, DoNotCountWhatWasTakenBackBeforeItSettled) {
  SequentialLimits limits(with_accept(hits_limit), 1);
  Teller tell(limits);
  limits.take_back({.block = call_block, .number = 0, .attempt = 0});
  tell.trial(call_block, {Outcome::miss});
  EXPECT_EQ(limits.find(0, 0)->state().exposure, 0.0);
  tell.trial(call_block, {Outcome::miss});
  EXPECT_EQ(limits.find(0, 0)->state().exposure, 1.0);
}

TEST(SequentialLimits, ListenForAlarmsByTheHour) {
  SequentialLimits limits(with_accept(alarms_limit), 1);
  Teller tell(limits);
  tell.listen(std::chrono::minutes{30}, {});
  const Settled loud = tell.listen(std::chrono::minutes{30}, {6min});
  EXPECT_EQ(limits.find(0, 0)->state().failures, 1U);
  EXPECT_EQ(limits.find(0, 0)->state().exposure, 1.0);
  limits.take_back(loud.trial.id);
  EXPECT_EQ(limits.find(0, 0)->state().failures, 0U);
  EXPECT_EQ(limits.find(0, 0)->state().exposure, 0.5);
  for (int i = 0; i < 20; ++i) tell.listen(std::chrono::minutes{30}, {});
  EXPECT_EQ(limits.find(0, 0)->state().standing, Standing::pass);
  EXPECT_TRUE(limits.is_known(quiet_block));
  EXPECT_NEAR(limits.find(0, 0)->state().exposure, earliest_pass(limits.find(0, 0)->design()), 1e-9)
      << "within a stretch";
}

TEST(SequentialLimits, ListenOnlyToWhatWasUndisturbed) {
  using std::chrono::minutes;
  SequentialLimits limits(
      with_accept("false_alarms_per_hour = { sequential = { good = 2, bad = 5 } }\n"), 1);
  Teller tell(limits);
  const auto expect = [&](std::uint64_t alarms, double hours) {
    EXPECT_EQ(limits.find(0, 0)->state().failures, alarms);
    EXPECT_NEAR(limits.find(0, 0)->state().exposure, hours, 1e-12);
  };
  const auto recount = [&](const Settled& quiet, const std::vector<base::Stretch>& undisturbed) {
    limits.correct_quiet(quiet, undisturbed);
    limits.test_corrected();
  };
  const Settled loud = tell.listen(minutes{60}, {6min, 30min, 50min});
  expect(3, 1.0);
  recount(loud, {{0min, 20min}, {40min, 60min}});
  expect(2, 2.0 / 3.0);
  recount(loud, {});
  expect(0, 0.0);
  recount(loud, {{6min, 36min}});
  expect(1, 0.5);  // the one at 6 min came in the disturbance's last moment
  recount(loud, {{0min, 30min}, {30min, 60min}});
  expect(2, 1.0);
  limits.take_back(loud.trial.id);
  recount(loud, {{0min, 60min}});
  expect(0, 0.0);
  limits.count_quiet(loud, {{20min, 32min}, {49min, 55min}});
  expect(2, 0.3);
}

}  // namespace
}  // namespace plexor::judge
