#include "judge/sequential_walk.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <numeric>
#include <stdexcept>

#include "judge/sequential_checks.hpp"
#include "judge/sequential_design.hpp"

namespace plexor::judge {
namespace {

double sum(const std::vector<double>& chances) {
  return std::accumulate(chances.begin(), chances.end(), 0.0);
}

void expect_as_trial_by_trial(const SequentialDesign& design, double rate, double trials) {
  SequentialWalk by_trial;
  by_trial.passed.resize(design.pass_from.size());
  by_trial.running.resize(design.fail_until.size());
  for (const auto& [state, chance] : trial_by_trial(design, rate, trials)) {
    by_trial.average += chance * state.exposure;
    if (state.standing == Standing::fail)
      by_trial.failed += chance;
    else if (state.standing == Standing::pass)
      by_trial.passed.at(state.failures) += chance;
    else
      by_trial.running.at(state.failures) += chance;
  }
  const SequentialWalk found = walk(design, rate, trials);
  ASSERT_EQ(found.passed.size(), by_trial.passed.size());
  ASSERT_EQ(found.running.size(), by_trial.running.size());
  for (std::size_t failures = 0; failures < found.passed.size(); ++failures)
    EXPECT_NEAR(found.passed[failures], by_trial.passed[failures], 1e-13) << failures;
  for (std::size_t failures = 0; failures < found.running.size(); ++failures)
    EXPECT_NEAR(found.running[failures], by_trial.running[failures], 1e-13) << failures;
  EXPECT_NEAR(found.failed, by_trial.failed, 1e-13);
  EXPECT_NEAR(found.average, by_trial.average, 1e-9);
}

TEST(SequentialWalk, IsWhatTrialsGiveOneByOne) {
  for (const SequentialDesign& design :
       {wald_design(heard(0.98, 0.95, 0.05, 0.05), 300),
        wald_design(heard(0.9, 0.7, 0.05, 0.1), 80), wald_design(heard(0.6, 0.3, 0.1, 0.1), 60),
        decided_design(heard(0.97, 0.9, 0.05, 0.1), 200).value()}) {
    for (const double rate : {0.0, 0.01, 0.5, 0.9, 0.95, 0.999, 1.0})
      for (const double trials : {0.0, 1.0, 17.0, 59.0, design.longest})
        if (trials <= design.longest) expect_as_trial_by_trial(design, rate, trials);
  }
}

/// Passes from 2 hours without an alarm, from 3 with one; fails at one in the first hour, at two at
/// any time.
SequentialDesign small_alarms_design() {
  return {.aim = alarms(0.1, 1.0, 0.05, 0.05),
          .longest = 3.0,
          .pass_from = {2.0, 3.0},
          .fail_until = {-1.0, 1.0, 3.0}};
}

TEST(SequentialWalk, OfAlarmsIsWhatTheExponentialFunctionSays) {
  for (const double rate : {1e-9, 0.02, 0.3, 1.0, 7.0}) {
    const auto quiet = [rate](double hours) { return std::exp(-rate * hours); };
    const SequentialWalk end = walk(small_alarms_design(), rate, 3.0);
    EXPECT_NEAR(end.passed[0], quiet(2.0), 1e-15);
    EXPECT_NEAR(end.passed[1], rate * quiet(3.0), 1e-15);
    EXPECT_NEAR(end.failed, 1.0 - quiet(2.0) - rate * quiet(3.0), 1e-15);
    EXPECT_NEAR(sum(end.running), 0.0, 1e-15);
    // Hours without an alarm up to 2, then with the one that came in the second hour.
    const double with_one = (quiet(1.0) - quiet(2.0)) / rate - quiet(2.0);  // in the second hour
    const double third_hour = quiet(2.0) - quiet(3.0);
    EXPECT_NEAR(end.average, -std::expm1(-2.0 * rate) / rate + with_one + third_hour, 1e-7);
    const SequentialWalk middle = walk(small_alarms_design(), rate, 1.5);
    EXPECT_NEAR(middle.running[0], quiet(1.5), 1e-15);
    EXPECT_NEAR(middle.running[1], 0.5 * rate * quiet(1.5), 1e-15);
  }
}

TEST(SequentialWalk, KeepsItsDigitsForTheRarestAlarms) {
  const SequentialWalk end = walk(small_alarms_design(), 1e-12, 3.0);
  EXPECT_NEAR(end.failed / 1e-12, 1.0, 1e-9);  // one in the first hour
  EXPECT_NEAR(end.average, 2.0, 1e-9);
  EXPECT_EQ(walk(small_alarms_design(), 0.0, 3.0).average, 2.0);
  EXPECT_EQ(walk(small_alarms_design(), 0.0, 1.5).average, 1.5);
}

/// Alarms as trials of a fraction of an hour each, which the limits are multiples of.
SequentialChances in_fine_steps(SequentialDesign design, double rate, double per_hour) {
  for (auto* limits : {&design.pass_from, &design.fail_until})
    for (double& limit : *limits) limit *= per_hour;
  design.longest *= per_hour;
  design.aim.kind = RateKind::detection;
  SequentialChances chances = sequential_chances(design, 1.0 - rate / per_hour);
  chances.average /= per_hour;
  return chances;
}

TEST(SequentialWalk, OfAlarmsIsTheLimitOfFineTrials) {
  const SequentialDesign design{.aim = alarms(0.5, 2.0, 0.05, 0.05),
                                .longest = 9.0,
                                .pass_from = {2.5, 3.5, 4.0, 6.5, 7.0},
                                .fail_until = {-1.0, -1.0, 0.5, 1.0, 2.5, 4.5, 9.0}};
  for (const double rate : {0.3, 1.0, 2.5}) {
    const SequentialChances limit = sequential_chances(design, rate);
    const SequentialChances coarse = in_fine_steps(design, rate, 4096);
    const SequentialChances fine = in_fine_steps(design, rate, 8192);
    EXPECT_GT(std::abs(coarse.pass - limit.pass), 1e-6);
    EXPECT_NEAR(2.0 * fine.pass - coarse.pass, limit.pass, 1e-7);
    EXPECT_NEAR(2.0 * fine.fail - coarse.fail, limit.fail, 1e-7);
    EXPECT_NEAR(2.0 * fine.undecided - coarse.undecided, limit.undecided, 1e-7);
    EXPECT_NEAR(2.0 * fine.average - coarse.average, limit.average, 1e-6);
  }
}

TEST(SequentialChances, AddUpToOneAndFallWithMoreFailures) {
  for (const SequentialDesign& design : {wald_design(heard(0.98, 0.95, 0.05, 0.05), 300),
                                         wald_design(alarms(0.1, 0.5, 0.05, 0.1), 20),
                                         decided_design(heard(0.98, 0.95, 0.05, 0.05)).value(),
                                         decided_design(alarms(0.1, 0.5, 0.05, 0.1)).value()}) {
    double passes_before = 2.0;
    double fails_before = -1.0;
    for (double failures = 0.001; failures < 0.9; failures *= 1.2) {
      const double rate = design.aim.kind == RateKind::detection ? 1.0 - failures : 8.0 * failures;
      const SequentialChances chances = sequential_chances(design, rate);
      EXPECT_NEAR(chances.pass + chances.fail + chances.undecided, 1.0, 1e-12) << rate;
      EXPECT_LT(chances.pass, passes_before) << rate;
      EXPECT_GT(chances.fail, fails_before - 1e-13) << rate;
      EXPECT_LE(chances.average, design.longest);
      passes_before = chances.pass;
      fails_before = chances.fail;
    }
    EXPECT_GT(fails_before, 0.9999);
  }
}

TEST(SequentialWalk, RefusesRatesAndExposuresThatCanNotBe) {
  const SequentialDesign trials = wald_design(heard(0.98, 0.95, 0.05, 0.05), 300);
  for (const double rate : {-0.01, 1.01, std::nan("")})
    EXPECT_THROW(static_cast<void>(sequential_chances(trials, rate)), std::domain_error);
  for (const double exposure : {-1.0, 301.0, 0.5, std::nan("")})
    EXPECT_THROW(static_cast<void>(walk(trials, 0.9, exposure)), std::domain_error);
  const SequentialDesign hours = small_alarms_design();
  EXPECT_THROW(static_cast<void>(sequential_chances(hours, -0.1)), std::domain_error);
  EXPECT_THROW(static_cast<void>(walk(hours, 0.1, 3.1)), std::domain_error);
  EXPECT_NO_THROW(static_cast<void>(walk(hours, 1e12, 2.9)));
}

}  // namespace
}  // namespace plexor::judge
