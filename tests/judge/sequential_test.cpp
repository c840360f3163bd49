#include "judge/sequential.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <limits>
#include <stdexcept>

#include "judge/sequential_checks.hpp"
#include "judge/sequential_design.hpp"

namespace plexor::judge {
namespace {

// Published and independent values stand in tests/reference (t07), which reference_test runs.

Standing standing_by_lines(const WaldLines& lines, const SequentialState& state, double longest) {
  const double failures = static_cast<double>(state.failures);
  if (failures >= lines.slope * state.exposure + lines.reject) return Standing::fail;
  if (failures <= lines.slope * state.exposure - lines.accept) return Standing::pass;
  return state.exposure < longest ? Standing::running : Standing::undecided;
}

TEST(WaldDesign, StopsTrialsWhereItsLinesSay) {
  for (const SequentialAim& aim :
       {heard(0.98, 0.95, 0.05, 0.05), heard(0.9, 0.7, 0.05, 0.1), heard(0.5, 0.1, 0.01, 0.2)}) {
    const SequentialDesign design = wald_design(aim, 120);
    const WaldLines lines = wald_lines(aim);
    for (const double trials : {1.0, 5.0, 40.0, 119.0, 120.0})
      for (const ChanceOf& end : trial_by_trial(design, 0.8, trials))
        EXPECT_EQ(end.state.standing, standing_by_lines(lines, end.state, 120))
            << end.state.failures << " misses in " << end.state.exposure;
  }
}

TEST(WaldDesign, HasItsLimitsForAlarmsOnTheLines) {
  const SequentialAim aim = alarms(0.1, 0.5, 0.05, 0.1);
  const WaldLines lines = wald_lines(aim);
  const SequentialDesign design = wald_design(aim, 40.0);
  for (std::size_t events = 0; events < design.pass_from.size(); ++events)
    EXPECT_NEAR(lines.slope * design.pass_from[events] - lines.accept, static_cast<double>(events),
                1e-12);
  EXPECT_GT(lines.slope * 40.0 - lines.accept, static_cast<double>(design.pass_from.size() - 1));
  for (std::size_t events = 1; events + 1 < design.fail_until.size(); ++events)
    EXPECT_NEAR(lines.slope * design.fail_until[events] + lines.reject,
                std::max(static_cast<double>(events), lines.reject - lines.slope), 1e-12);
  EXPECT_EQ(design.fail_until.back(), 40.0);
}

TEST(WaldDesign, PutsTheAveragesOfTrialsWhereThoseOfRareEventsAre) {
  const WaldAverages trials = wald_averages(heard(1.0 - 1e-6, 1.0 - 4e-6, 0.05, 0.1));
  const WaldAverages hours = wald_averages(alarms(1e-6, 4e-6, 0.05, 0.1));
  EXPECT_NEAR(trials.at_good / hours.at_good, 1.0, 1e-5);
  EXPECT_NEAR(trials.at_bad / hours.at_bad, 1.0, 1e-5);
  EXPECT_NEAR(trials.at_slope / hours.at_slope, 1.0, 1e-5);
}

TEST(SequentialTest, SaysWhatIsTheEarliestEnd) {
  const SequentialDesign design = wald_design(heard(0.98, 0.95, 0.05, 0.05), 700);
  SequentialTest hears_all(design);
  while (hears_all.add_trial(true) == Standing::running) continue;
  EXPECT_EQ(hears_all.state(), (SequentialState{Standing::pass, 0, earliest_pass(design)}));
  SequentialTest hears_nothing(design);
  while (hears_nothing.add_trial(false) == Standing::running) continue;
  const std::uint64_t fewest = earliest_fail(design);
  EXPECT_EQ(hears_nothing.state(),
            (SequentialState{Standing::fail, fewest, static_cast<double>(fewest)}));
}

TEST(SequentialTest, EndsUndecidedWhereNothingIsForced) {
  SequentialTest test(wald_design(heard(0.98, 0.95, 0.05, 0.05), 120));
  for (int trial = 1; trial <= 120; ++trial) {
    EXPECT_EQ(test.state().standing, Standing::running) << trial;
    test.add_trial(trial % 40 != 0);
  }
  EXPECT_EQ(test.state(), (SequentialState{Standing::undecided, 3, 120.0}));
}

TEST(SequentialTest, StaysWhereItStopped) {
  SequentialTest test(wald_design(heard(0.9, 0.7, 0.05, 0.1), 100));
  while (test.add_trial(true) == Standing::running) continue;
  const SequentialState stopped = test.state();
  for (int trial = 0; trial < 50; ++trial) EXPECT_EQ(test.add_trial(false), Standing::pass);
  EXPECT_EQ(test.state(), stopped);
}

TEST(SequentialTest, GoesOnInItsCopiesApart) {
  SequentialTest test(wald_design(heard(0.9, 0.7, 0.05, 0.1), 100));
  test.add_trial(false);
  SequentialTest copy = test;
  copy.add_trial(false);
  EXPECT_EQ(test.state(), (SequentialState{Standing::running, 1, 1.0}));
  EXPECT_EQ(copy.state().failures, 2U);
}

TEST(SequentialTest, PassesAtTheLimitHoweverLateItIsTold) {
  const SequentialDesign design = wald_design(alarms(0.1, 0.5, 0.05, 0.1), 40.0);
  SequentialTest quiet(design);
  EXPECT_EQ(quiet.quiet_until(earliest_pass(design) * 0.999), Standing::running);
  EXPECT_EQ(quiet.alarm_at(39.0), Standing::pass);
  EXPECT_EQ(quiet.state(), (SequentialState{Standing::pass, 0, earliest_pass(design)}));
  SequentialTest once(design);
  once.alarm_at(1.0);
  EXPECT_EQ(once.quiet_until(1000.0), Standing::pass);
  EXPECT_EQ(once.state(), (SequentialState{Standing::pass, 1, design.pass_from[1]}));
}

TEST(SequentialTest, FailsAtTheAlarmThatIsTooMany) {
  const SequentialDesign design = wald_design(alarms(0.1, 0.5, 0.05, 0.1), 40.0);
  const std::uint64_t fewest = earliest_fail(design);
  SequentialTest test(design);
  for (std::uint64_t event = 1; event < fewest; ++event)
    EXPECT_EQ(test.alarm_at(0.01), Standing::running);
  SequentialTest later = test;
  EXPECT_EQ(test.alarm_at(0.02), Standing::fail);
  EXPECT_EQ(test.state(), (SequentialState{Standing::fail, fewest, 0.02}));
  EXPECT_EQ(later.alarm_at(design.fail_until[fewest] + 0.01), Standing::running);
}

TEST(SequentialTest, IsUndecidedAboutAlarmsAtTheEndOnly) {
  const SequentialDesign design = wald_design(alarms(0.1, 0.5, 0.05, 0.1), 12.0);
  SequentialTest test(design);
  test.alarm_at(1.0);
  test.alarm_at(6.0);
  EXPECT_EQ(test.quiet_until(11.9), Standing::running);
  EXPECT_EQ(test.alarm_at(13.0), Standing::undecided);
  EXPECT_EQ(test.state(), (SequentialState{Standing::undecided, 2, 12.0}));
}

TEST(SequentialTest, RefusesWhatItDoesNotTest) {
  SequentialTest trials(wald_design(heard(0.9, 0.7, 0.05, 0.1), 100));
  EXPECT_THROW(trials.alarm_at(1.0), std::domain_error);
  EXPECT_THROW(trials.quiet_until(1.0), std::domain_error);
  SequentialTest listening(wald_design(alarms(0.1, 0.5, 0.05, 0.1), 40.0));
  EXPECT_THROW(listening.add_trial(true), std::domain_error);
  listening.quiet_until(2.0);
  EXPECT_THROW(listening.alarm_at(1.9), std::domain_error);
  EXPECT_THROW(listening.quiet_until(std::nan("")), std::domain_error);
  EXPECT_EQ(listening.state(), (SequentialState{Standing::running, 0, 2.0}));
}

TEST(SequentialTest, RefusesADesignWhoseLimitsCross) {
  const SequentialDesign good = wald_design(heard(0.9, 0.7, 0.05, 0.1), 100);
  SequentialDesign design = good;
  design.fail_until.back() = 99.0;
  EXPECT_THROW(SequentialTest{design}, std::domain_error);
  design = good;
  std::swap(design.pass_from[0], design.pass_from[1]);
  EXPECT_THROW(SequentialTest{design}, std::domain_error);
  design = good;
  design.pass_from.clear();
  EXPECT_THROW(SequentialTest{design}, std::domain_error);
  design = good;
  design.longest = 0.0;
  EXPECT_THROW(SequentialTest{design}, std::domain_error);
}

TEST(SequentialAim, OutOfOrderOrRangeIsRefused) {
  const double nan = std::nan("");
  const double infinity = std::numeric_limits<double>::infinity();
  for (const SequentialAim& aim :
       {heard(0.95, 0.98, 0.05, 0.05), heard(0.95, 0.95, 0.05, 0.05), heard(1.0, 0.9, 0.05, 0.05),
        heard(0.9, 0.0, 0.05, 0.05), heard(nan, 0.9, 0.05, 0.05), heard(0.98, 0.95, 0.0, 0.05),
        heard(0.98, 0.95, 0.05, 0.0), heard(0.98, 0.95, 0.5, 0.5), heard(0.98, 0.95, nan, 0.05),
        alarms(0.5, 0.1, 0.05, 0.05), alarms(0.0, 0.1, 0.05, 0.05),
        alarms(0.1, infinity, 0.05, 0.05)}) {
    EXPECT_THROW(static_cast<void>(wald_lines(aim)), std::domain_error);
    EXPECT_THROW(static_cast<void>(wald_averages(aim)), std::domain_error);
    EXPECT_THROW(static_cast<void>(wald_design(aim, 1000)), std::domain_error);
    EXPECT_THROW(static_cast<void>(fixed_plan(aim)), std::domain_error);
    EXPECT_THROW(static_cast<void>(decided_design(aim)), std::domain_error);
    EXPECT_THROW(static_cast<void>(decided_design(aim, 1000)), std::domain_error);
  }
}

TEST(SequentialAim, OfALengthThatCanNotBeIsRefused) {
  const SequentialAim trials = heard(0.98, 0.95, 0.05, 0.05);
  for (const double longest : {0.0, -1.0, 50.0, 200.5, 1e300}) {
    EXPECT_THROW(static_cast<void>(wald_design(trials, longest)), std::domain_error) << longest;
  }
  for (const double longest : {0.0, -1.0, 200.5, std::numeric_limits<double>::infinity()})
    EXPECT_THROW(static_cast<void>(decided_design(trials, longest)), std::domain_error) << longest;
}

}  // namespace
}  // namespace plexor::judge
