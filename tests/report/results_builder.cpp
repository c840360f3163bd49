#include "report/results_builder.hpp"

#include <fmt/format.h>

#include <cmath>
#include <utility>

#include "base/random.hpp"
#include "scenario/planner.hpp"

namespace plexor::report {

namespace {

using base::Duration;
using base::Instant;

std::string scenario_text(const RunModel& model) {
  std::string text = R"([scenario]
name = "release check, oak counter"
purpose = "regression"
seed = 20260611

[rhythm.call]
contacts_ms = [0, 190]
expects = "call"
[rhythm.kiln]
contacts_ms = [0, 240, 480]
expects = "kiln"
[rhythm.help]
contacts_ms = [0, 130, 260, 390, 520]
expects = "help"
[rhythm.mug-down]
contacts_ms = [0, 120]
expects = "nothing"

[jitter]
model = "human"
tempo_cv = 0.06
motor_sd_ms = 8
)";
  const auto block = [&](std::string_view rhythm, std::uint32_t trials, std::string_view strike) {
    text += fmt::format(
        "\n[[block]]\nrhythm = \"{}\"\ntrials = {}\nstrike_m_s = {}\nwindow_ms = 1200\n"
        "gap_ms = [1500, 2500]\n",
        rhythm, trials, strike);
  };
  block("call", model.trials, "{ mean = 0.9, cv = 0.25 }");
  block("kiln", model.trials, "{ mean = 0.9, cv = 0.25 }");
  block("help", model.trials, "{ mean = 0.8, cv = 0.25 }");
  block("mug-down", model.trials / 2 + 1, "[0.3, 0.6]");
  text += fmt::format("\n[[block]]\nquiet_s = {}\n", model.quiet_s);
  return text + "\n[accept]\n" + model.accept;
}

journal::Header header_of(const RunModel& model) {
  journal::Header header;
  header.plexor_version = "0.1.0";
  header.seed = 20260611;
  header.scenario_file = "oak-counter.toml";
  header.scenario_text = scenario_text(model);
  header.rig_file = "workshop.toml";
  header.rig_text = "[rig]\nname = \"workshop bench\"\n";
  header.rig = {.name = "workshop bench",
                .simulated = model.simulated,
                .calibrated = model.calibrated,
                .contact_sensed = model.contact_sensed,
                .transit_sd = std::chrono::microseconds{120},
                .calibration_date = model.calibrated ? "2026-06-02" : "",
                .surface = "oak counter, 40 mm, oiled",
                .spot = "20 cm from the left edge",
                .mounting = "double-sided tape, underside",
                .devices = {}};
  for (const DeviceModel& device : model.devices) {
    header.rig.devices.push_back({.name = device.name,
                                  .version = device.version,
                                  .line_time = std::chrono::microseconds{1390},
                                  .pattern_end_gap = std::chrono::milliseconds{350}});
  }
  return header;
}

/// A run being told to the analysis.
class Teller {
 public:
  Teller(const RunModel& model, const journal::Header& header, analysis::Analysis& analysis)
      : model_(model),
        analysis_(analysis),
        scenario_(scenario::parse_scenario(header.scenario_text, header.scenario_file)) {
    tell(header);
    tell(journal::Host{"2026-06-11T19:30:00Z", "bench-2", "Linux 6.1.0 x86_64"});
    tell(journal::Segment{.boot_id = "virtual", .monotonic_ns = 0, .wall_ns = 0});
  }

  void present_all() {
    scenario::History history(scenario_);
    while (const auto trial = scenario::next(scenario_, history)) {
      history.took(trial->id);
      if (present(*trial)) history.voided(trial->id);
    }
    if (model_.complete) tell(journal::Ended{journal::Ended::Reason::complete, "", now_});
  }

  [[nodiscard]] journal::ReadSummary reading() const {
    return {.records = sequence_, .bytes = 180 * sequence_, .damages = {}, .damage_count = 0};
  }

 private:
  void tell(journal::Record record) { analysis_.take({sequence_++, std::move(record)}); }

  double draw(const base::TrialId& id, std::uint32_t what) const {
    const base::DrawKey key{7, id.block, id.number, id.attempt * 1000 + what,
                            base::Purpose::disturbance};
    return static_cast<double>(base::uniform_bits(key) >> 11) * 0x1p-53;
  }

  /// True if the presentation was void.
  bool present(const base::Trial& trial) {
    const Instant start = now_;
    journal::TrialPlanned planned{.trial = trial, .start = start, .pulses = {}, .coil_mc = 31'250};
    journal::TrialDone done;
    for (const base::Tap& tap : trial.taps) {
      const Instant on = start + tap.contact - std::chrono::milliseconds{9};
      planned.pulses.push_back({on, std::chrono::microseconds{4800}});
      const double lateness_us = 200.0 * (draw(trial.id, 1) - 0.5);
      if (model_.contact_sensed) {
        done.contacts.push_back(start + tap.contact +
                                std::chrono::nanoseconds(std::llround(1000.0 * lateness_us)));
      }
    }
    const Duration length = trial.taps.empty() ? Duration::zero() : trial.taps.back().contact;
    const bool is_void =
        trial.kind == base::TrialKind::rhythm && draw(trial.id, 2) < model_.void_share;
    if (is_void) done.void_reason = base::VoidReason::re_strike;
    done.id = trial.id;
    done.actual = planned.pulses;
    done.end = start + length + trial.window;
    tell(planned);
    hear(trial, start + length);
    tell(done);
    now_ = start + length + trial.gap + (trial.taps.empty() ? trial.window : Duration::zero());
    return is_void;
  }

  void hear(const base::Trial& trial, Instant last_contact) {
    std::vector<base::Event> events;
    for (std::uint32_t i = 0; i < model_.devices.size(); ++i) {
      const std::string name = answer(trial, i);
      if (name.empty()) continue;
      const double spread = 1.0 + 0.9 * std::pow(draw(trial.id, 10 * i + 13), 4.0);
      const double ms = trial.kind == base::TrialKind::quiet
                            ? base::to_ms(trial.window) * draw(trial.id, 10 * i + 14)
                            : model_.devices[i].median_latency_ms * spread;
      const auto latency = Duration(std::llround(1e6 * ms));
      events.push_back({.device = i,
                        .name = name,
                        .arrival = last_contact + latency,
                        .device_time = {},
                        .strength = {}});
    }
    std::sort(events.begin(), events.end(),
              [](const auto& a, const auto& b) { return a.arrival < b.arrival; });
    for (const base::Event& event : events) tell(journal::Heard{event});
  }

  /// What the device says; empty for nothing.
  std::string answer(const base::Trial& trial, std::uint32_t index) const {
    const DeviceModel& device = model_.devices[index];
    const double first = draw(trial.id, 10 * index + 11);
    if (trial.kind == base::TrialKind::quiet) return first < device.alarm_share ? "call" : "";
    if (trial.kind != base::TrialKind::rhythm) return "";
    const scenario::Rhythm& rhythm = scenario_.rhythms.at(trial.rhythm);
    if (rhythm.is_distractor()) return first < device.answers_distractors ? "call" : "";
    double softest = 1e9;
    for (const base::Tap& tap : trial.taps) softest = std::min(softest, base::to_m_s(tap.strike));
    const double heard = 1.0 / (1.0 + std::exp(-14.0 * (softest - device.half_heard_m_s)));
    if (first > heard) return "";
    return draw(trial.id, 10 * index + 12) < device.confused_share ? "help" : rhythm.expects;
  }

  const RunModel& model_;
  analysis::Analysis& analysis_;
  scenario::Scenario scenario_;
  std::uint64_t sequence_ = 0;
  Instant now_ = base::segment_start + std::chrono::seconds{2};
};

}  // namespace

analysis::Results results_of(
    const RunModel& model,
    const std::function<void(const journal::Header&, const scenario::Scenario&,
                             const analysis::TrialRow&)>& row) {
  const journal::Header header = header_of(model);
  const scenario::Scenario scenario =
      scenario::parse_scenario(header.scenario_text, header.scenario_file);
  analysis::Analysis analysis([&](const analysis::TrialRow& one) {
    if (row) row(header, scenario, one);
  });
  Teller teller(model, header, analysis);
  teller.present_all();
  return analysis.finish(teller.reading(), model.live);
}

analysis::Results with_second_listener(analysis::Results results, double later_ms) {
  auto& listeners = results.devices.front().listeners;
  listeners.front().name = "serial";
  listeners.front().place = "port /dev/ttyUSB0";
  listeners.front().latency_budget.contributions = {{"stamp of the arrival", 4.62}};
  listeners.push_back(listeners.front());
  analysis::ListenerResult& second = listeners.back();
  second.name = "broker";
  second.place = "topic knock at broker:1883";
  second.latency_budget.contributions = {{"stamp of the arrival", 0.0289}};
  for (analysis::RhythmResult& rhythm : second.rhythms) {
    if (rhythm.median_ms) *rhythm.median_ms += later_ms;
  }
  second.beside =
      analysis::Beside{.both = 100,
                       .only_here = 1,
                       .only_first = 2,
                       .later = {.p = 0.5,
                                 .ms = later_ms,
                                 .interval = analysis::Interval{.lower = later_ms - 1.0,
                                                                .upper = later_ms + 1.0,
                                                                .confidence = 0.95,
                                                                .sides = analysis::Sides::two,
                                                                .method = "order statistics"}}};
  return results;
}

analysis::Results hostile_results() {
  RunModel model{.trials = 12, .quiet_s = 1200, .void_share = 0.1};
  model.devices = {{.name = hostile_name, .confused_share = 0.3, .alarm_share = 0.5}};
  analysis::Results results = results_of(model);
  results.header.rig.surface = hostile_name;
  results.header.scenario_text += std::string("# ") + hostile_name + "\n";
  results.scenario_name = hostile_name;
  results.headline = hostile_name;
  results.ended->detail = hostile_name;
  for (analysis::Verdict& verdict : results.verdicts) verdict.reason = hostile_name;
  for (analysis::Finding& finding : results.findings) finding.heard = hostile_name;
  results.devices.front().heard_names.back() = hostile_name;
  results.disturbances.by_name = {{.name = hostile_name, .by = hostile_name, .marks = 1}};
  results.disturbances.marks = {{.from_s = 10.0, .to_s = 60.0, .name = 0}};
  results.power_cycles = {{.device = 0, .at_s = 70.0, .reason = hostile_name}};
  results.devices.front().power_cycles = 1;
  results.devices.front().rhythms.front().rhythm = hostile_name;
  results = with_second_listener(std::move(results), 20.0);
  for (analysis::ListenerResult& listener : results.devices.front().listeners) {
    listener.name = hostile_name;
    listener.place = hostile_name;
    listener.rhythms.front().rhythm = hostile_name;
  }
  return results;
}

}  // namespace plexor::report
