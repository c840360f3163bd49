#include <gtest/gtest.h>

#include <cmath>
#include <memory>
#include <string>

#include "analysis/analyse.hpp"
#include "conductor/bench_setup.hpp"
#include "journal/reader.hpp"
#include "journal/writer.hpp"
#include "rig/rig_file.hpp"
#include "run/conductor.hpp"
#include "run/runner.hpp"
#include "scenario/scenario.hpp"
#include "virtual/simulation.hpp"
#include "virtual/virtual_rig.hpp"

// The tool proves its own intervals: many small runs of a device whose truth is
// known exactly, through the whole chain from planner to results.

namespace plexor {
namespace {

constexpr int runs = 2000;
constexpr double detects = 0.9;
constexpr double latency_ms = 650.0;
constexpr double spread_ms = 200.0;
constexpr double alarms_per_hour = 1.5;

/// The conductor's bench with a device that throws dice of these sides.
const std::string dice_rig_text = run::calibrated_rig_text() + R"(
[simulated.tapper]
[[simulated.device]]
model = "dice"
detects = 0.9
decision_gap_ms = 500
latency_ms = 650
spread_ms = 200
false_alarms_per_hour = 1.5
[[simulated.device.rhythm]]
name = "call"
intervals_ms = [[120, 260]]
)";

std::string scenario_text(int seed) {
  return "[scenario]\nname = \"coverage\"\npurpose = \"regression\"\nseed = " +
         std::to_string(seed) +
         "\nincident_window_ms = 1\n"
         "[rhythm.call]\ncontacts_ms = [0, 190]\n"
         "[jitter]\nmodel = \"human\"\ntempo_cv = 0.05\nmotor_sd_ms = 5\n"
         "[[block]]\nrhythm = \"call\"\ntrials = 60\nstrike_m_s = 0.9\n"
         "window_ms = 1200\ngap_ms = [1500, 2500]\n"
         "[[block]]\nquiet_s = 7200\n";
}

analysis::DeviceResult results_of_run(const rig::RigFile& rig,
                                      const virtual_rig::Simulation& simulation, int seed) {
  journal::Header header;
  header.scenario_text = scenario_text(seed);
  header.rig.contact_sensed = true;
  header.rig.calibrated = true;
  header.rig.devices = {{"panel", "known truth", {}, {}}};
  const auto scenario = scenario::parse_scenario(header.scenario_text, "coverage.toml");

  std::string bytes;
  journal::Writer writer(std::make_unique<run::MemorySink>(bytes, 0));
  writer.append(header);
  writer.append(journal::Segment{.boot_id = "virtual"});
  virtual_rig::VirtualRig world(rig, simulation, scenario.seed, false);
  run::Conductor conductor(scenario, rig, false, writer.next_sequence());
  run::run_to_end(conductor, {world, world, world}, writer, run::Durability::written,
                  {[] { return false; }, [](const run::Progress&) {}});

  analysis::Analysis analysis;
  const auto reading = journal::read_journal_bytes(
      bytes, "memory", [&](const journal::Entry& entry) { analysis.take(entry); });
  return analysis.finish(reading).devices.at(0);
}

bool covers(const analysis::Interval& interval, double truth) {
  return interval.lower <= truth && truth <= interval.upper;
}

TEST(IntervalCoverage, HoldsForDetectionLatencyAndFalseAlarms) {
  const auto rig = rig::parse_rig(dice_rig_text, "rig.toml");
  const auto simulation = virtual_rig::parse_simulation(dice_rig_text, "rig.toml", rig);
  // Unanswered trials stand at +infinity, so the median lies where the answered reach one half.
  const double median_ms = latency_ms + spread_ms * 0.5 / detects;
  int rate = 0;
  int wilson = 0;
  int latency = 0;
  int alarms = 0;
  for (int seed = 1; seed <= runs; ++seed) {
    const auto device = results_of_run(rig, simulation, seed);
    rate += covers(*device.detection.exact, detects) ? 1 : 0;
    wilson += covers(*device.detection.wilson, detects) ? 1 : 0;
    latency += covers(*device.latency.percentiles.at(0).interval, median_ms) ? 1 : 0;
    alarms += covers(*device.false_alarms.exact, alarms_per_hour) ? 1 : 0;
  }
  std::printf("covered of %d: detection %d (Wilson %d), median latency %d, false alarms %d\n", runs,
              rate, wilson, latency, alarms);
  // Three standard errors of the count below the stated 95 %.
  const double least = 0.95 * runs - 3.0 * std::sqrt(runs * 0.95 * 0.05);
  EXPECT_GE(rate, least);
  EXPECT_GE(latency, least);
  EXPECT_GE(alarms, least);
  // Wilson's interval covers 95 % on average over p, not for each p (Brown, Cai & DasGupta 2001).
  EXPECT_GE(wilson, least - 0.02 * runs);
  // An interval that covers always would be useless.
  EXPECT_LT(rate, 0.999 * runs);
  EXPECT_LT(latency, 0.999 * runs);
}

}  // namespace
}  // namespace plexor
