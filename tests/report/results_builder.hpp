#pragma once

#include <cstdint>
#include <functional>
#include <string>
#include <vector>

#include "analysis/analyse.hpp"

namespace plexor::report {

/// A device as a few numbers: enough to give results that look like a run's.
struct DeviceModel {
  std::string name = "panel";
  std::string version = "1.4";
  double half_heard_m_s = 0.1;  ///< strike speed at which half of the knocks are heard
  double median_latency_ms = 460.0;
  double confused_share = 0.0;  ///< of the heard knocks, reported as "help"
  double answers_distractors = 0.01;
  double alarm_share = 0.1;  ///< of the quiet stretches with an alarm
};

/// A run at the oak counter of a ceramics workshop: rhythms call, kiln, help and shave, mugs put
/// down as distractors, quiet, all planned by the scenario's planner.
struct RunModel {
  std::vector<DeviceModel> devices{DeviceModel{}};
  std::uint32_t trials = 160;  ///< of each rhythm; distractors half as many
  std::uint32_t quiet_s = 14'400;
  double void_share = 0.01;
  bool simulated = true;
  bool calibrated = true;
  bool contact_sensed = true;
  bool complete = true;
  bool live = false;
  std::string accept =
      "detection_rate = { at_least = 0.95, confidence = 0.95 }\n"
      "latency_p95_ms = { at_most = 900, confidence = 0.95 }\n"
      "false_alarms_per_hour = { at_most = 3.0, confidence = 0.90 }\n"
      "false_response_rate = { at_most = 0.10 }\n";
};

[[nodiscard]] analysis::Results results_of(
    const RunModel& model,
    const std::function<void(const journal::Header&, const scenario::Scenario&,
                             const analysis::TrialRow&)>& row = {});

/// The same results, as if the first device had a listener more, which heard all of it this
/// much later.
[[nodiscard]] analysis::Results with_second_listener(analysis::Results results, double later_ms);

/// Names that try to break out of whatever they are written into.
inline constexpr const char* hostile_name = "</script><script>alert(1)</script>\"'&\x01\x1b[31m";

/// A small run whose device, event, setting and findings carry hostile names.
[[nodiscard]] analysis::Results hostile_results();

}  // namespace plexor::report
