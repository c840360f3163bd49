#pragma once

#include <gtest/gtest.h>

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "conductor/scripted_rig.hpp"
#include "journal/reader.hpp"
#include "journal/writer.hpp"
#include "rig/rig_file.hpp"
#include "run/conductor.hpp"
#include "run/runner.hpp"
#include "scenario/scenario.hpp"

namespace plexor::run {

inline const std::string rig_text = R"(
format = 1
[rig]
name = "test bench"
kind = "simulated"
[setting]
surface = "oak counter"
spot = "A1"
mounting = "taped"
[tapper]
moving_mass_g = 12
tip_diameter_mm = 10
seated_force_n = 20
[tapper.coil]
supply_v = 12
resistance_ohm = 15
winding_j_k = 6
body_j_k = 24
winding_to_body_k_w = 3
body_to_air_k_w = 15
ambient_c = 23
[tapper.limits]
max_pulse_ms = 30
min_rest_ms = 40
duty_percent = 25
duty_span_s = 300
max_on_in_span_s = 75
max_coil_c = 90
coil_margin_k = 10
max_energy_mj = 50
max_tip_pressure_n_cm2 = 50
[contact]
kind = "tip-switch"
[calibration]
date = "2026-06-01"
transit_sd_ms = 0.15
[[calibration.curve]]
coil_c = 23
supply_v = 12
points = [
  { on_ms = 8, strike_m_s = 0.3, transit_ms = 20 },
  { on_ms = 12, strike_m_s = 1.5, transit_ms = 12 },
]
[[device]]
name = "panel"
version = "release 1"
)";

/// The same with the calibration that the virtual rig's default plunger has around 0.9 m/s.
inline std::string calibrated_rig_text() {
  std::string text = rig_text;
  const auto replace = [&](const std::string& passage, const std::string& instead) {
    text.replace(text.find(passage), passage.size(), instead);
  };
  replace("coil_c = 23", "coil_c = 25");
  replace("on_ms = 8, strike_m_s = 0.3, transit_ms = 20",
          "on_ms = 9.2, strike_m_s = 0.281, transit_ms = 17.45");
  replace("on_ms = 12, strike_m_s = 1.5, transit_ms = 12",
          "on_ms = 13.5, strike_m_s = 1.251, transit_ms = 13.93");
  return text;
}

/// A scenario of `trials` calls at 0.9 m/s; `more` is added at the end.
inline std::string scenario_text(int trials, const std::string& more = "") {
  return "[scenario]\nname = \"test\"\npurpose = \"regression\"\nseed = 7\n"
         "[rhythm.call]\ncontacts_ms = [0, 190]\n"
         "[[block]]\nrhythm = \"call\"\ntrials = " +
         std::to_string(trials) + "\nstrike_m_s = 0.9\nwindow_ms = 600\ngap_ms = [800, 1200]\n" +
         more;
}

/// Keeps what is written where a test can read it; fails from write `fail_at` on.
class MemorySink : public journal::Sink {
 public:
  MemorySink(std::string& bytes, int fail_at) : bytes_(bytes), fail_at_(fail_at) {}
  void write(std::string_view bytes) override {
    if (fail_at_ > 0 && ++writes_ >= fail_at_) throw base::RigFault("no space left");
    bytes_ += bytes;
  }
  void sync() override {}

 private:
  std::string& bytes_;
  int fail_at_;
  int writes_ = 0;
};

/// One run on the scripted rig, from texts to journal.
class Bench {
 public:
  explicit Bench(const std::string& scenario, Script script = {}, bool lifted = false,
                 const std::string& rig = rig_text)
      : scenario_(scenario::parse_scenario(scenario, "test.toml")),
        rig_(rig::parse_rig(rig, "rig.toml")),
        tapper(*rig_.calibration, std::move(script)),
        conductor_(scenario_, rig_, lifted, 1) {}

  /// Stops after `stop_after` observations or deadlines, if given; the journal fails at write
  /// `fail_at`.
  journal::Ended run(int stop_after = -1, int fail_at = 0) {
    journal::Writer writer(std::make_unique<MemorySink>(bytes, fail_at));
    writer.append(journal::Header{});
    int asked = 0;
    const auto ended =
        run_to_end(conductor_, {tapper, tapper, tapper, &tapper}, writer, Durability::synced,
                   {.stop_requested = [&] { return stop_after >= 0 && asked++ >= stop_after; },
                    .on_progress = [](const Progress&) {},
                    .seen_beside = seen_beside,
                    .must_end = must_end});
    return ended;
  }

  [[nodiscard]] std::vector<journal::Record> all_records() const {
    std::vector<journal::Record> found;
    const auto summary = journal::read_journal_bytes(
        bytes, "memory", [&](const journal::Entry& entry) { found.push_back(entry.record); });
    EXPECT_EQ(summary.damage_count, 0U);
    return found;
  }
  /// All records of one kind in the journal.
  template <typename Kind>
  [[nodiscard]] std::vector<Kind> records() const {
    std::vector<Kind> found;
    for (const journal::Record& record : all_records()) {
      if (const auto* one = std::get_if<Kind>(&record)) found.push_back(*one);
    }
    return found;
  }

  /// How often each void reason stands in the journal.
  [[nodiscard]] std::vector<base::VoidReason> voids() const {
    std::vector<base::VoidReason> reasons;
    for (const auto& done : records<journal::TrialDone>()) {
      if (done.void_reason) reasons.push_back(*done.void_reason);
    }
    return reasons;
  }

  [[nodiscard]] Progress progress() const { return conductor_.progress(); }
  [[nodiscard]] const rig::RigFile& rig() const { return rig_; }

 private:
  scenario::Scenario scenario_;
  rig::RigFile rig_;

 public:
  ScriptedRig tapper;
  std::string bytes;
  std::function<std::optional<rig::Observation>()> seen_beside{};
  std::function<std::optional<std::string>()> must_end{};

 private:
  Conductor conductor_;
};

}  // namespace plexor::run
