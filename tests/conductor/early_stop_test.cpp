#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <string>

#include "conductor/bench_setup.hpp"
#include "judge/sequential_limits.hpp"

namespace plexor::run {
namespace {

using journal::Ended;
using ::testing::SizeIs;

const std::string stops_early =
    "[accept]\ndetection_rate = { sequential = { good = 0.9, bad = 0.5 } }\n";

/// Valid trials that the test takes where all is heard: from its design.
double trials_to_pass() {
  return judge::earliest_pass(*judge::sequential_limits(scenario::parse_scenario(
      scenario_text(200, stops_early), "test.toml"))[0]
                                   .design);
}

TEST(Conductor, EndsWhenItsSequentialLimitsAreDecided) {
  Bench bench(scenario_text(200, stops_early));
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  const auto needed = static_cast<std::size_t>(trials_to_pass());
  ASSERT_LT(needed, 20U);
  // A trial settles when the next one is over.
  EXPECT_THAT(bench.records<journal::TrialPlanned>(), SizeIs(needed + 1));
  EXPECT_EQ(bench.progress().remaining, 0U);
}

TEST(Conductor, EndsEarlyForADeviceThatHearsNothing) {
  Bench bench(scenario_text(200, stops_early), {.answers = false});
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  EXPECT_LT(bench.records<journal::TrialPlanned>().size(), 12U);
}

TEST(Conductor, NeverEndsALiftedRunEarly) {
  Script clear;
  for (int pulse = 1; pulse <= 60; ++pulse) clear.no_contact.insert(pulse);
  clear.answers = false;
  Bench bench(scenario_text(30, stops_early), clear, true);
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  EXPECT_THAT(bench.records<journal::TrialPlanned>(), SizeIs(30));
}

TEST(Conductor, ClosesAnEarlyEndWithReferenceTapsAndGoesOnWhereTheyHaveMoved) {
  const auto needed = static_cast<int>(trials_to_pass());
  // The closing group's first tap: after two opening ones and the trials' two each.
  const int closing = 2 + 2 * (needed + 1) + 1;
  const std::string seldom =
      "[reference]\nevery_trials = 50\ntaps = 2\nstrike_m_s = 0.9\ntransit_tolerance_ms = 1\n";
  Bench good(scenario_text(200, seldom + stops_early));
  EXPECT_EQ(good.run().reason, Ended::Reason::complete);
  EXPECT_EQ(good.tapper.fired.size(), static_cast<std::size_t>(closing + 1));
  Bench moved(scenario_text(200, seldom + stops_early), {.transit_moves_at = closing});
  EXPECT_EQ(moved.run().reason, Ended::Reason::fault);
  const auto shifts = moved.records<journal::ReferenceShift>();
  ASSERT_THAT(shifts, SizeIs(2));
  EXPECT_EQ(shifts[0].voided, static_cast<std::uint32_t>(needed + 1));
  EXPECT_GT(moved.tapper.fired.size(), good.tapper.fired.size())
      << "what was decided is open again";
}

}  // namespace
}  // namespace plexor::run
