#include "judge/sequential_estimate.hpp"

#include <gtest/gtest.h>

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <boost/math/special_functions/gamma.hpp>
#include <cmath>
#include <iterator>
#include <limits>
#include <numeric>
#include <stdexcept>

#include "judge/sequential_checks.hpp"
#include "judge/sequential_design.hpp"
#include "judge/sequential_walk.hpp"

namespace plexor::judge {
namespace {

constexpr double infinity = std::numeric_limits<double>::infinity();

/// How often an interval lies wholly above or below the true rate, and the estimate itself.
struct Misses {
  double interval_above = 0.0;
  double interval_below = 0.0;
  double estimate_above = 0.0;
  double estimate_below = 0.0;
  std::pair<double, double> nearest_above = {infinity, 0.0};  ///< an estimate and its chance
  std::pair<double, double> nearest_below = {-infinity, 0.0};

  void add(const SequentialEstimate& estimate, double rate, double chance) {
    const double middle = estimate.median_unbiased;
    interval_above += estimate.lower > rate ? chance : 0.0;
    interval_below += estimate.upper < rate ? chance : 0.0;
    estimate_above += middle > rate ? chance : 0.0;
    estimate_below += middle < rate ? chance : 0.0;
    if (middle > rate && middle < nearest_above.first) nearest_above = {middle, chance};
    if (middle < rate && middle > nearest_below.first) nearest_below = {middle, chance};
  }
};

void expect_kept(const Misses& misses, double confidence, double rate) {
  EXPECT_LE(misses.interval_above, (1.0 - confidence) / 2.0 + 1e-9) << rate;
  EXPECT_LE(misses.interval_below, (1.0 - confidence) / 2.0 + 1e-9) << rate;
  EXPECT_LE(misses.estimate_above - misses.nearest_above.second / 2.0, 0.5 + 1e-9) << rate;
  EXPECT_LE(misses.estimate_below - misses.nearest_below.second / 2.0, 0.5 + 1e-9) << rate;
}

/// Every stop of a detection test, each once, with its estimate. The chances are not of interest.
std::vector<std::pair<SequentialState, SequentialEstimate>> estimates_of_all_stops(
    const SequentialDesign& design, double confidence) {
  std::vector<std::pair<SequentialState, SequentialEstimate>> all;
  for (const ChanceOf& end : trial_by_trial(design, 0.5, design.longest))
    all.emplace_back(end.state, sequential_estimate(design, end.state, confidence));
  return all;
}

TEST(SequentialEstimate, CoversWhateverTheDetectionRate) {
  for (const SequentialDesign& design :
       {decided_design(heard(0.95, 0.8, 0.05, 0.05)).value(),
        wald_design(heard(0.95, 0.8, 0.1, 0.1), 40), wald_design(heard(0.6, 0.3, 0.1, 0.1), 30)}) {
    const double confidence = 0.9;
    const auto estimates = estimates_of_all_stops(design, confidence);
    for (const double rate : {0.02, 0.3, 0.5, 0.7, 0.8, 0.85, 0.9, 0.951, 0.98, 0.999}) {
      const std::vector<ChanceOf> ends = trial_by_trial(design, rate, design.longest);
      ASSERT_EQ(ends.size(), estimates.size());
      Misses misses;
      for (std::size_t end = 0; end < ends.size(); ++end) {
        ASSERT_EQ(ends[end].state, estimates[end].first);
        misses.add(estimates[end].second, rate, ends[end].chance);
      }
      expect_kept(misses, confidence, rate);
    }
  }
}

/// The moment at which the estimate of a fail goes below `rate`: it falls with time.
template <typename Member>
double moment_when_below(const SequentialDesign& design, double rate, double confidence,
                         Member member) {
  double low = 0.0;
  double high = design.longest;
  for (int step = 0; step < 45; ++step) {
    const double middle = std::midpoint(low, high);
    const auto events = static_cast<std::uint64_t>(
        std::ranges::lower_bound(design.fail_until, middle) - design.fail_until.begin());
    const SequentialEstimate estimate =
        sequential_estimate(design, {Standing::fail, events, middle}, confidence);
    (estimate.*member >= rate ? low : high) = middle;
  }
  return low;
}

Misses misses_of_alarms(const SequentialDesign& design, double rate, double confidence) {
  const SequentialWalk end = walk(design, rate, design.longest);
  Misses misses;
  for (std::size_t events = 0; events < end.passed.size(); ++events)
    misses.add(
        sequential_estimate(design, {Standing::pass, events, design.pass_from[events]}, confidence),
        rate, end.passed[events]);
  const auto failed_before = [&](auto member) {
    return walk(design, rate, moment_when_below(design, rate, confidence, member)).failed;
  };
  const double median = failed_before(&SequentialEstimate::median_unbiased);
  misses.interval_above += failed_before(&SequentialEstimate::lower);
  misses.interval_below += end.failed - failed_before(&SequentialEstimate::upper);
  misses.estimate_above += median;
  misses.estimate_below += end.failed - median;
  return misses;
}

TEST(SequentialEstimate, CoversWhateverTheRateOfAlarms) {
  const SequentialDesign design = decided_design(alarms(0.1, 0.5, 0.05, 0.1)).value();
  for (const double rate : {0.01, 0.1, 0.2, 0.3, 0.5, 1.0, 5.0}) {
    const Misses misses = misses_of_alarms(design, rate, 0.9);
    expect_kept(misses, 0.9, rate);
  }
  // Where nearly all tests fail, time leaves no gaps: the errors are used up.
  const Misses misses = misses_of_alarms(design, 5.0, 0.9);
  EXPECT_NEAR(misses.interval_above, 0.05, 1e-6);
  EXPECT_NEAR(misses.interval_below, 0.05, 1e-6);
  EXPECT_NEAR(misses.estimate_above, 0.5, 1e-6);
}

/// The stops of a detection test, found trial by trial, from the best on: in the order of stages.
std::vector<ChanceOf> in_order_of_stages(const SequentialDesign& design, double rate) {
  std::vector<ChanceOf> order;
  const std::vector<ChanceOf> ends = trial_by_trial(design, rate, design.longest);
  for (const Standing standing : {Standing::pass, Standing::undecided})
    std::ranges::copy_if(ends, std::back_inserter(order),
                         [&](const ChanceOf& end) { return end.state.standing == standing; });
  std::copy_if(ends.rbegin(), ends.rend(), std::back_inserter(order),
               [](const ChanceOf& end) { return end.state.standing == Standing::fail; });
  return order;
}

/// The chance of the best stops up to the one at `last`, with `part` of that.
double chance_up_to(const SequentialDesign& design, double rate, std::size_t last, double part) {
  const std::vector<ChanceOf> order = in_order_of_stages(design, rate);
  double chance = part * order[last].chance;
  for (std::size_t stop = 0; stop < last; ++stop) chance += order[stop].chance;
  return chance;
}

TEST(SequentialEstimate, HasHalfTheErrorBeyondEachEndInTheOrderOfStages) {
  const SequentialDesign design = wald_design(heard(0.95, 0.8, 0.1, 0.1), 40);
  const std::vector<ChanceOf> order = in_order_of_stages(design, 0.5);
  ASSERT_GT(order.size(), 30U);
  for (std::size_t stop = 0; stop < order.size(); ++stop) {
    const SequentialEstimate rate = sequential_estimate(design, order[stop].state, 0.9);
    const double up_to_lower = chance_up_to(design, rate.lower, stop, 1.0);
    const double up_to_upper = chance_up_to(design, rate.upper, stop, 0.0);
    EXPECT_NEAR(up_to_lower, rate.lower > 0.0 ? 0.05 : 1.0, 1e-10) << stop;
    EXPECT_NEAR(up_to_upper, rate.upper < 1.0 ? 0.95 : 0.0, 1e-10) << stop;
    EXPECT_NEAR(chance_up_to(design, rate.median_unbiased, stop, 0.5), 0.5, 1e-10);
  }
}

TEST(SequentialEstimate, FallsInTheOrderOfStages) {
  const SequentialDesign design = decided_design(heard(0.95, 0.8, 0.05, 0.05)).value();
  SequentialEstimate better{.lower = 1.0, .median_unbiased = 1.0 + 1e-9, .upper = 1.0};
  for (const ChanceOf& stop : in_order_of_stages(design, 0.5)) {
    const SequentialEstimate worse = sequential_estimate(design, stop.state, 0.9);
    EXPECT_GE(better.lower, worse.lower) << stop.state.exposure;
    EXPECT_GT(better.median_unbiased, worse.median_unbiased) << stop.state.exposure;
    EXPECT_GE(better.upper, worse.upper) << stop.state.exposure;
    EXPECT_LE(worse.lower, worse.median_unbiased);
    EXPECT_LE(worse.median_unbiased, worse.upper);
    better = worse;
  }
}

/// Limits that no test reaches before its end.
SequentialDesign without_a_stop(SequentialAim aim, double longest) {
  SequentialDesign design{.aim = aim, .longest = longest, .pass_from = {longest}, .fail_until = {}};
  design.fail_until.assign(101, -1.0);
  design.fail_until.push_back(longest);
  return design;
}

TEST(SequentialEstimate, IsTheUsualIntervalWhereNothingStopsEarly) {
  using boost::math::binomial;
  const SequentialDesign trials = without_a_stop(heard(0.9, 0.8, 0.05, 0.05), 50);
  const SequentialDesign hours = without_a_stop(alarms(0.1, 0.5, 0.05, 0.05), 50);
  for (const std::uint64_t failures : {1U, 4U, 20U}) {
    const double count = static_cast<double>(failures);
    const SequentialState stop{Standing::running, failures, 30.0};
    const SequentialEstimate rate = sequential_estimate(trials, stop, 0.95);
    EXPECT_NEAR(rate.lower, binomial::find_lower_bound_on_p(30.0, 30.0 - count, 0.025), 1e-10);
    EXPECT_NEAR(rate.upper, binomial::find_upper_bound_on_p(30.0, 30.0 - count, 0.025), 1e-10);
    const SequentialEstimate per_hour = sequential_estimate(hours, stop, 0.95);
    EXPECT_NEAR(per_hour.lower, boost::math::gamma_p_inv(count, 0.025) / 30.0, 1e-10);
    EXPECT_NEAR(per_hour.upper, boost::math::gamma_q_inv(count + 1.0, 0.025) / 30.0, 1e-10);
  }
}

TEST(SequentialEstimate, DoesNotFlatterATestThatStoppedAtItsFirstPass) {
  const SequentialDesign design = decided_design(heard(0.98, 0.95, 0.05, 0.05)).value();
  const double trials = earliest_pass(design);
  const SequentialEstimate all_heard =
      sequential_estimate(design, {Standing::pass, 0, trials}, 0.95);
  EXPECT_NEAR(all_heard.lower, std::pow(0.025, 1.0 / trials), 1e-10);
  EXPECT_EQ(all_heard.upper, 1.0);
  EXPECT_EQ(all_heard.confidence, 0.95);
  const double late = design.pass_from[4];
  const SequentialEstimate later = sequential_estimate(design, {Standing::pass, 4, late}, 0.95);
  EXPECT_LT(later.median_unbiased, 1.0 - 4.0 / late);
}

TEST(SequentialEstimate, HasNoUpperEndForAlarmsWithoutTime) {
  const SequentialDesign design = decided_design(alarms(0.1, 0.5, 0.05, 0.1)).value();
  const SequentialEstimate quiet =
      sequential_estimate(design, {Standing::pass, 0, earliest_pass(design)}, 0.9);
  EXPECT_EQ(quiet.lower, 0.0);
  EXPECT_EQ(quiet.median_unbiased, 0.0);
  EXPECT_NEAR(quiet.upper, -std::log(0.05) / earliest_pass(design), 1e-10);
  const std::uint64_t fewest = earliest_fail(design);
  EXPECT_LT(sequential_estimate(design, {Standing::fail, fewest, 1e-6}, 0.9).upper, infinity);
}

TEST(SequentialEstimate, RefusesStopsThatTheDesignDoesNotHave) {
  const SequentialDesign design = wald_design(heard(0.95, 0.8, 0.1, 0.1), 40);
  const double pass = earliest_pass(design);
  const std::uint64_t fewest = earliest_fail(design);
  for (const SequentialState& stop :
       {SequentialState{Standing::pass, 0, pass - 1.0},
        SequentialState{Standing::pass, 0, pass + 1}, SequentialState{Standing::running, 0, pass},
        SequentialState{Standing::running, 0, pass + 1}, SequentialState{Standing::fail, 1, 1.0},
        SequentialState{Standing::running, 0, 0.0}, SequentialState{Standing::running, 3, 2.0},
        SequentialState{Standing::running, 1, 2.5},
        SequentialState{Standing::running, fewest, static_cast<double>(fewest)},
        SequentialState{Standing::undecided, 0, 3.0}, SequentialState{Standing::fail, 1000, 40.0},
        SequentialState{Standing::undecided, 3, 41.0}})
    EXPECT_THROW(static_cast<void>(sequential_estimate(design, stop, 0.9)), std::domain_error)
        << static_cast<int>(stop.standing) << " " << stop.failures << " " << stop.exposure;
  for (const double confidence : {0.0, 1.0, -0.5, std::nan("")})
    EXPECT_THROW(
        static_cast<void>(sequential_estimate(design, {Standing::pass, 0, pass}, confidence)),
        std::domain_error);
}

}  // namespace
}  // namespace plexor::judge
