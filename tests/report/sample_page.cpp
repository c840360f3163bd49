// Writes sample reports into a folder, to look at them and to open them in a browser:
//   sample_page FOLDER

#include <cmath>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <limits>

#include "analysis/made_history.hpp"
#include "report/json.hpp"
#include "report/junit.hpp"
#include "report/night_builder.hpp"
#include "report/page.hpp"
#include "report/results_builder.hpp"
#include "report/terminal.hpp"
#include "report/traces_page.hpp"
#include "report/trend.hpp"

namespace {

using namespace plexor;

void write(const std::filesystem::path& path, const std::string& text) {
  std::ofstream file(path, std::ios::binary);
  file << text;
  if (!file.flush()) throw std::runtime_error("cannot write " + path.string());
}

void write_all(const std::filesystem::path& folder, const std::string& name,
               const analysis::Results& results) {
  write(folder / (name + ".html"), report::report_page(results));
  write(folder / (name + ".json"), report::results_json(results));
  write(folder / (name + ".xml"), report::junit_xml(results));
  std::cout << name << ".html\n"
            << report::summary(results, {.colour = false, .width = 100}) << '\n';
}

report::RunModel regression() {
  report::RunModel model{.trials = 320};
  model.devices = {{.version = "2.0",
                    .half_heard_m_s = 0.42,
                    .median_latency_ms = 560.0,
                    .confused_share = 0.06,
                    .answers_distractors = 0.03,
                    .alarm_share = 0.12}};
  return model;
}

report::RunModel two_devices() {
  report::RunModel model{.trials = 60,
                         .quiet_s = 3600,
                         .simulated = false,
                         .calibrated = false,
                         .contact_sensed = false,
                         .complete = false};
  model.devices = {{.name = "panel"}, {.name = "glass door", .half_heard_m_s = 0.5}};
  return model;
}

/// Curves of the usual shapes; what the virtual rig makes of them is its own tests' matter.
report::TracedTap traced_tap() {
  report::Trace current{"current", "A", {}};
  report::Trace plunger{"plunger", "mm", {}};
  report::Trace voltage{"voltage", "mV", {}};
  for (int i = 0; i < 20'000; ++i) {
    const double ms = i * 0.005;
    current.points.emplace_back(ms, ms < 12 ? 0.8 * (1 - std::exp(-ms / 3)) : 0.0);
    plunger.points.emplace_back(ms, std::max(0.0, 5.0 - 0.05 * (ms - 14) * (ms - 14)));
    voltage.points.emplace_back(ms,
                                ms < 14 ? 0.0 : 400 * std::exp((14 - ms) / 8) * std::sin(3 * ms));
  }
  return {.surface = "oak </script> counter",
          .rig = "a sample",
          .figures = {{"Strike", "0.90 m/s"}, {"Lowest modes", "220, 350, 570 Hz"}},
          .plots = {{"Coil and plunger", "Two axes.", "since switching on", {current, plunger}},
                    {"Disc voltage", "One axis.", "since contact", {voltage}}}};
}

void write_trend(const std::filesystem::path& folder, const std::string& name,
                 const std::vector<analysis::RunFigures>& runs) {
  const analysis::Trend trend = analysis::trend_of(runs);
  write(folder / (name + ".html"), report::trend_page(trend));
  write(folder / (name + ".json"), report::trend_json(trend));
  std::cout << name << ".html\n"
            << report::trend_text(trend, {.colour = false, .width = 100}) << '\n';
}

/// The demo's history, with a cluster of alarms and a night without a run; and names that bite.
void write_trends(const std::filesystem::path& folder) {
  std::vector<analysis::RunFigures> runs = analysis::eventful_history(4);
  for (analysis::RunFigures& run : runs) {
    run.devices[0].by_hour[5].incidents += 3;
    run.devices[0].incidents += 3;
  }
  runs.erase(runs.begin() + 2);
  write_trend(folder, "trend", runs);
  write_trend(folder, "trend-clean", analysis::made_history(analysis::steady_nights(14, 4)));
  for (analysis::RunFigures& run : runs) {
    run.surface = "oak </script> counter";
    run.devices[0].name = "panel\x1b[2J<b>\xff";
    run.devices[0].p95_ms = std::numeric_limits<double>::infinity();
  }
  write_trend(folder, "trend-hostile", runs);
  write_trend(folder, "trend-empty", {});
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 2) {
    std::cerr << "usage: sample_page FOLDER\n";
    return 2;
  }
  const std::filesystem::path folder = argv[1];
  std::filesystem::create_directories(folder);
  write_all(folder, "pass", report::results_of({.trials = 320}));
  write_all(folder, "fail", report::results_of(regression()));
  write_all(folder, "two-devices", report::results_of(two_devices()));
  report::RunModel nothing_heard{.trials = 8, .quiet_s = 60, .accept = ""};
  nothing_heard.devices[0].half_heard_m_s = 100.0;
  write_all(folder, "nothing-heard", report::results_of(nothing_heard));
  write_all(folder, "night", report::night_results());
  write_all(folder, "so-far",
            report::results_of({.trials = 20, .quiet_s = 600, .complete = false, .live = true}));
  write_all(folder, "hostile", report::hostile_results());
  std::ofstream(folder / "traces.html")
      << report::traces_page("One tap", {traced_tap(), traced_tap()});
  write_trends(folder);
  return 0;
}
