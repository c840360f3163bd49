#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <filesystem>
#include <fstream>
#include <map>
#include <memory>
#include <set>
#include <string>
#include <tuple>
#include <utility>
#include <vector>

#include "analysis/analyse.hpp"
#include "base/random.hpp"
#include "conductor/bench_setup.hpp"
#include "journal/reader.hpp"
#include "run/replay.hpp"
#include "scenario/planner.hpp"
#include "virtual/simulation.hpp"
#include "virtual/virtual_rig.hpp"

// A run whose computer loses its power at any instant goes on where it was: nothing that was
// acknowledged is lost, nothing counts twice, and the plan is the same.

namespace plexor::run {
namespace {

using testing::Eq;

const std::string panel_text = calibrated_rig_text() + R"(
[simulated.tapper]
[[simulated.device]]
model = "dice"
detects = 0.9
decision_gap_ms = 500
latency_ms = 650
spread_ms = 200
false_alarms_per_hour = 20
[[simulated.device.rhythm]]
name = "call"
intervals_ms = [[120, 260]]
)";

std::string soak_text(int seed) {
  return "[scenario]\nname = \"night\"\npurpose = \"soak\"\nseed = " + std::to_string(seed) +
         "\n[rhythm.call]\ncontacts_ms = [0, 190]\n"
         "[jitter]\nmodel = \"human\"\ntempo_cv = 0.05\nmotor_sd_ms = 5\n"
         "[reference]\nevery_trials = 10\nstrike_m_s = 0.9\ntransit_tolerance_ms = 1.5\n"
         "[[block]]\nrhythm = \"call\"\ntrials = 60\nstrike_m_s = 0.9\n"
         "window_ms = 1200\ngap_ms = [1500, 2500]\n"
         "[[block]]\nquiet_s = 60\n[[block]]\nquiet_s = 30\n[[block]]\nquiet_s = 90\n";
}

struct PowerCut {};

/// What is synced stays; of the rest as much as the disk had got round to.
class Disk {
 public:
  explicit Disk(std::uint32_t seed) : key_{.seed = seed} {}

  std::int64_t draw(std::int64_t low, std::int64_t high) {
    ++key_.trial;
    return base::uniform_between(key_, low, high);
  }
  void cut_after(std::int64_t operations) { left_ = operations; }
  void operate() {
    if (left_ > 0 && --left_ == 0) throw PowerCut{};
  }
  void write(std::string_view more) {
    bytes += more;
    operate();
  }
  void sync() {
    operate();
    durable = bytes.size();
  }
  /// As it is found after the restart.
  void lose_what_is_not_durable() {
    const auto rest = static_cast<std::int64_t>(bytes.size() - durable);
    bytes.resize(durable + static_cast<std::size_t>(draw(0, rest)));
    if (draw(0, 3) == 0) bytes.append(static_cast<std::size_t>(draw(1, 600)), '\0');
  }

  std::string bytes;
  std::size_t durable = 0;

 private:
  base::DrawKey key_;
  std::int64_t left_ = 0;
};

class DiskSink final : public journal::Sink {
 public:
  explicit DiskSink(Disk& disk) : disk_(disk) {}
  void write(std::string_view bytes) override { disk_.write(bytes); }
  void sync() override { disk_.sync(); }

 private:
  Disk& disk_;
};

/// The journal as recovery leaves it.
std::string recovered(const std::string& bytes) {
  const auto path = std::filesystem::temp_directory_path() /
                    ("plexor-cut-" + std::to_string(::getpid()) + ".jsonl");
  std::ofstream(path, std::ios::binary) << bytes;
  (void)journal::recover_tail(path);
  std::ifstream file(path, std::ios::binary);
  std::string kept{std::istreambuf_iterator<char>(file), {}};
  std::filesystem::remove(path);
  return kept;
}

class Night {
 public:
  explicit Night(int seed)
      : rig_(rig::parse_rig(panel_text, "rig.toml")),
        simulation_(virtual_rig::parse_simulation(panel_text, "rig.toml", rig_)),
        scenario_text_(soak_text(seed)),
        scenario_(scenario::parse_scenario(scenario_text_, "night.toml")),
        disk_(static_cast<std::uint32_t>(seed)) {}

  /// Runs on until the power goes, or to the end; false: it went.
  bool go_on(bool may_be_cut) {
    disk_.cut_after(may_be_cut ? disk_.draw(1, 14) : 0);
    try {
      run_segment();
      return true;
    } catch (const PowerCut&) {
      const std::string acknowledged = disk_.bytes.substr(0, disk_.durable);
      disk_.lose_what_is_not_durable();
      if (acknowledged.empty()) {
        disk_.bytes.clear();
      } else {
        disk_.bytes = recovered(disk_.bytes);
      }
      EXPECT_THAT(disk_.bytes.substr(0, acknowledged.size()), Eq(acknowledged));
      disk_.durable = disk_.bytes.size();
      return false;
    }
  }

  [[nodiscard]] std::vector<journal::Record> records() const {
    std::vector<journal::Record> found;
    const auto summary = journal::read_journal_bytes(
        disk_.bytes, "disk", [&](const journal::Entry& entry) { found.push_back(entry.record); });
    EXPECT_EQ(summary.damage_count, 0U);
    return found;
  }
  [[nodiscard]] analysis::Results results() const {
    analysis::Analysis analysis;
    return analysis.finish(journal::read_journal_bytes(
        disk_.bytes, "disk", [&](const journal::Entry& entry) { analysis.take(entry); }));
  }
  [[nodiscard]] const scenario::Scenario& scenario() const { return scenario_; }

 private:
  void run_segment() {
    std::optional<Replay::Past> past;
    std::uint64_t next = 0;
    if (!disk_.bytes.empty()) {
      Replay replay(scenario_, rig_, false);
      next = journal::read_journal_bytes(disk_.bytes, "disk", [&](const journal::Entry& entry) {
               replay.take(entry.record);
             }).next_sequence;
      past = replay.finish();
    }
    journal::Writer writer(std::make_unique<DiskSink>(disk_), next);
    if (!past) {
      journal::Header header;
      header.scenario_text = scenario_text_;
      header.rig.contact_sensed = true;
      header.rig.calibrated = true;
      header.rig.devices = {{"panel", "release 1", {}, {}}};
      writer.append(header);
    }
    const std::uint32_t segment = past ? past->segments : 0;
    writer.append(journal::Segment{.boot_id = "boot " + std::to_string(segment)});
    virtual_rig::VirtualRig world(rig_, simulation_, scenario_.seed + segment, false);
    Conductor conductor(scenario_, rig_, false, writer.next_sequence(), {},
                        past ? std::optional(std::move(past->ledger)) : std::nullopt);
    (void)run_to_end(conductor, {world, world, world}, writer, Durability::synced,
                     {[] { return false; }, [](const Progress&) {}});
  }

  rig::RigFile rig_;
  virtual_rig::Simulation simulation_;
  std::string scenario_text_;
  scenario::Scenario scenario_;
  Disk disk_;
};

TEST(PowerCuts, ThreeHundredOfThemLoseNothingAndCountNothingTwice) {
  constexpr int nights = 15;
  constexpr int cuts_each = 22;
  int cuts = 0;
  for (int seed = 1; seed <= nights; ++seed) {
    Night night(seed);
    bool is_over = false;
    for (int cut = 0; cut < cuts_each && !is_over; ++cut) {
      is_over = night.go_on(true);
      cuts += is_over ? 0 : 1;
    }
    is_over = is_over || night.go_on(false);
    ASSERT_TRUE(is_over) << seed;

    const analysis::Results results = night.results();
    ASSERT_TRUE(results.ended) << seed;
    EXPECT_EQ(results.ended->reason, journal::Ended::Reason::complete) << seed;
    EXPECT_EQ(results.trials_valid, 60U) << seed;
    EXPECT_DOUBLE_EQ(results.quiet_hours, 180.0 / 3600.0) << seed;

    std::map<std::pair<std::uint32_t, std::uint32_t>, int> counted;
    for (const journal::Record& record : night.records()) {
      if (const auto* planned = std::get_if<journal::TrialPlanned>(&record)) {
        if (planned->trial.kind == base::TrialKind::rhythm) {
          EXPECT_EQ(planned->trial.taps,
                    scenario::draw_trial(night.scenario(), planned->trial.id).taps);
        }
      } else if (const auto* done = std::get_if<journal::TrialDone>(&record)) {
        if (!done->void_reason) ++counted[{done->id.block, done->id.number}];
      }
    }
    for (const auto& [id, times] : counted) {
      if (id.first < night.scenario().blocks.size()) {
        EXPECT_EQ(times, 1) << "trial " << id.second << " of block " << id.first;
      }
    }
  }
  EXPECT_GE(cuts, 300) << "too few nights were cut: the test no longer tests";
}

TEST(Replay, OfARunThatIsOverCountsWhatTheConductorCounted) {
  Script script;
  script.no_contact = {3};
  Bench bench(
      scenario_text(
          12, "[reference]\nevery_trials = 4\nstrike_m_s = 0.9\ntransit_tolerance_ms = 1.5\n"),
      script);
  ASSERT_EQ(bench.run().reason, journal::Ended::Reason::complete);
  const auto scenario = scenario::parse_scenario(
      scenario_text(
          12, "[reference]\nevery_trials = 4\nstrike_m_s = 0.9\ntransit_tolerance_ms = 1.5\n"),
      "t.toml");
  Replay replay(scenario, bench.rig(), false);
  for (const journal::Record& record : bench.all_records()) replay.take(record);
  const Replay::Past past = replay.finish();
  EXPECT_EQ(past.ledger.remaining(), 0U);
  EXPECT_EQ(past.ledger.count().done, bench.progress().done);
  EXPECT_EQ(past.ledger.count().voids, bench.progress().voids);
  EXPECT_EQ(past.ledger.count().hits, bench.progress().hits);
  EXPECT_EQ(past.ledger.count().expected, bench.progress().expected);
}

TEST(Replay, RefusesRecordsThatTheScenarioCannotHaveLedTo) {
  const auto scenario = scenario::parse_scenario(scenario_text(2), "t.toml");
  const auto rig = rig::parse_rig(rig_text, "rig.toml");
  const auto refuses = [&](const journal::Record& record) {
    Replay replay(scenario, rig, false);
    EXPECT_THROW(replay.take(record), base::InputError);
  };
  journal::TrialPlanned beyond;
  beyond.trial.id = {7, 0, 0};
  refuses(beyond);
  beyond.trial.id = {0, 99, 0};
  refuses(beyond);
  refuses(journal::Moved{2, {}});
}

}  // namespace
}  // namespace plexor::run
