#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <memory>
#include <string>
#include <variant>
#include <vector>

#include "conductor/bench_setup.hpp"

// A run that nobody has armed listens [S77], and taps once somebody has.

namespace plexor::run {
namespace {

using namespace std::chrono_literals;

struct UnarmedRun {
  journal::Ended ended;
  std::vector<journal::Record> records;
};

/// Leave is given at `given_at`, or never.
UnarmedRun run_unarmed(std::optional<base::Instant> given_at) {
  const auto scenario =
      scenario::parse_scenario(scenario_text(6,
                                             "[[block]]\nquiet_s = 60\n[[block]]\nquiet_s = 90\n"
                                             "[reference]\nevery_trials = 2\nstrike_m_s = 0.9\n"
                                             "transit_tolerance_ms = 1.5\n"),
                               "test.toml");
  const auto rig = rig::parse_rig(rig_text, "rig.toml");
  ScriptedRig tapper(*rig.calibration, {});
  std::string bytes;
  journal::Writer writer(std::make_unique<MemorySink>(bytes, 0));
  writer.append(journal::Header{});
  Conductor conductor(scenario, rig, false, 1);
  conductor.observe(rig::LeaveEnded{"nobody has armed the rig", false, base::segment_start});
  bool is_given = false;
  UnarmedRun run;
  run.ended = run_to_end(conductor, {tapper, tapper, tapper}, writer, Durability::synced,
                         {.stop_requested = [] { return false; },
                          .on_progress = [](const Progress&) {},
                          .leave_given =
                              [&] {
                                if (is_given || !given_at || tapper.now() < *given_at) return false;
                                is_given = true;
                                return true;
                              }});
  (void)journal::read_journal_bytes(
      bytes, "memory", [&](const journal::Entry& entry) { run.records.push_back(entry.record); });
  return run;
}

int taps_planned(const std::vector<journal::Record>& records, bool before_leave) {
  int trials = 0;
  bool has_leave = false;
  for (const journal::Record& record : records) {
    if (std::holds_alternative<journal::LeaveGiven>(record)) has_leave = true;
    const auto* planned = std::get_if<journal::TrialPlanned>(&record);
    if (planned != nullptr && !planned->pulses.empty() && has_leave != before_leave) ++trials;
  }
  return trials;
}

int quiets_done(const std::vector<journal::Record>& records) {
  int quiets = 0;
  for (const journal::Record& record : records) {
    const auto* done = std::get_if<journal::TrialDone>(&record);
    if (done != nullptr && done->id.block > 0 && done->id.block < 3 && !done->void_reason) ++quiets;
  }
  return quiets;
}

TEST(UnarmedRun, OnlyListensAndEndsWithoutATap) {  // [S77]
  const UnarmedRun run = run_unarmed({});
  EXPECT_EQ(run.ended.reason, journal::Ended::Reason::interrupted);
  EXPECT_EQ(run.ended.detail, "nobody has armed the rig");
  EXPECT_EQ(taps_planned(run.records, true), 0);
  EXPECT_EQ(quiets_done(run.records), 2);
}

TEST(UnarmedRun, TapsEverythingOnceLeaveIsGiven) {  // [S77]
  const UnarmedRun run = run_unarmed(base::Instant{20s});
  EXPECT_EQ(run.ended.reason, journal::Ended::Reason::complete);
  EXPECT_EQ(taps_planned(run.records, true), 0);
  EXPECT_GE(taps_planned(run.records, false), 6 + 2);  // with reference taps at both ends
  EXPECT_EQ(quiets_done(run.records), 2);
}

}  // namespace
}  // namespace plexor::run
