#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <chrono>
#include <optional>
#include <string>
#include <vector>

#include "conductor/bench_setup.hpp"
#include "judge/sequential_limits.hpp"

namespace plexor::run {
namespace {

using namespace std::chrono_literals;
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

/// Ten-minute stretches of quiet until their limit is decided, for a device that raises an alarm
/// every three minutes as long as `noise` lasts. Whoever made it tells of it later, if at all.
struct NoisyRun {
  base::Duration noise{};
  std::optional<base::Duration> told_at{};
  int calls = 1;

  [[nodiscard]] std::vector<journal::TrialPlanned> quiet() const;
};

std::vector<journal::TrialPlanned> NoisyRun::quiet() const {
  Bench bench(scenario_text(calls,
                            "[[block]]\nquiet_s = 72000\nstretch_s = 600\n[accept]\n"
                            "false_alarms_per_hour = { sequential = { good = 0.5, bad = 4 } }\n"));
  base::Instant next_alarm = base::segment_start + 1min;
  std::optional<base::Duration> tells_at = told_at;
  bench.seen_beside = [&]() -> std::optional<rig::Observation> {
    const base::Instant now = bench.tapper.now();
    const base::Duration so_far = now - base::segment_start;
    if (tells_at && so_far >= *tells_at) {
      tells_at.reset();
      return rig::DisturbanceSensed{"kiln door", "hand", base::segment_start,
                                    base::segment_start + noise, now};
    }
    if (now < next_alarm || so_far > noise) return std::nullopt;
    next_alarm += 3min;
    base::Event event;
    event.name = "call";
    event.arrival = now;
    return event;
  };
  EXPECT_EQ(bench.run().reason, Ended::Reason::complete);
  std::vector<journal::TrialPlanned> planned = bench.records<journal::TrialPlanned>();
  std::erase_if(planned, [](const auto& one) { return one.trial.kind != base::TrialKind::quiet; });
  return planned;
}

TEST(Conductor, AlarmsInMarkedDisturbancesEndNothingEarly) {
  const std::size_t quiet = NoisyRun{}.quiet().size();
  ASSERT_LT(NoisyRun{.noise = 25min}.quiet().size(), quiet)
      << "it fails sooner than a quiet device passes";
  for (const base::Duration told_at : {1s, 240s, 720s}) {
    // Two stretches and a half are left out.
    const std::size_t told = NoisyRun{.noise = 25min, .told_at = told_at}.quiet().size();
    EXPECT_GE(told, quiet + 2) << base::to_s(told_at);
    EXPECT_LE(told, quiet + 3) << base::to_s(told_at);
  }
}

TEST(Conductor, AMarkOpensAgainWhatAlarmsHadDecided) {
  constexpr int calls = 200;  // minutes of them are left when the quiet has ended
  const auto never_told = NoisyRun{.noise = 25min, .calls = calls}.quiet();
  const base::Instant decided = never_told.back().start + 10min;
  const base::Duration later = decided + 1min - base::segment_start;
  const auto told = NoisyRun{.noise = 25min, .told_at = later, .calls = calls}.quiet();
  ASSERT_GT(told.size(), never_told.size());
  EXPECT_GT(told.at(never_told.size()).start, base::segment_start + later);
}

}  // namespace
}  // namespace plexor::run
