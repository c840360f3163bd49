#pragma once

#include <cstddef>
#include <nlohmann/json.hpp>
#include <string>

#include "analysis/results.hpp"

// What the page's template (reports/page.html) and its charts (reports/page.js) are given: texts
// ready to be shown, flags and lists. No markup here, no wording of whole sentences there.

namespace plexor::report {

using View = nlohmann::json;

/// Everything in the template but the embedded parts.
[[nodiscard]] View page_view(const analysis::Results& results);
/// The evidence about one device.
[[nodiscard]] View device_view(const analysis::Results& results, std::size_t device);
/// What a surface scenario is for: curves, signals, map and advice; false where there is none.
[[nodiscard]] View surface_view(const analysis::Results& results);
/// The series of its charts, for surface.js.
[[nodiscard]] View surface_charts(const analysis::Results& results);
/// A long run hour by hour, and whether something drifted; false for a short one.
[[nodiscard]] View soak_view(const analysis::Results& results);
/// What happened beside the taps, a sentence each.
[[nodiscard]] View course_view(const analysis::Results& results);
/// The series of its charts, for soak.js; holes and disturbances of any run.
[[nodiscard]] View soak_charts(const analysis::Results& results);
/// The series that page.js draws.
[[nodiscard]] View chart_data(const analysis::Results& results);

/// A figure as charts are given it: six digits are more than a screen can show. Null for what is
/// infinite.
[[nodiscard]] View plotted(double value);

/// What a small ruler shows.
struct Ruled {
  double lower = 0.0;  ///< of the interval; an open end is infinite
  double upper = 0.0;
  std::optional<double> estimate;
  double limit = 0.0;
  bool at_least = false;  ///< the side of the limit that is accepted
};
/// Positions on it, in percent of its width: the interval, the estimate, the limit and the side of
/// it that is accepted. What is infinite lies at the ruler's ends.
[[nodiscard]] View ruler(const Ruled& ruled);

/// The first verdict on this device whose figure begins with `figure`; null without one.
[[nodiscard]] const analysis::Verdict* find_verdict(const analysis::Results& results,
                                                    const std::string& device,
                                                    std::string_view figure);
/// False instead of an empty text: the template shows a section only where there is something.
[[nodiscard]] View or_nothing(std::string text);
/// "4.6 ms (stamp of the arrival 4.6 ms)".
[[nodiscard]] std::string uncertainty_text(const analysis::Budget& budget);
/// How the device's listeners compare; false where it has one.
[[nodiscard]] View listeners_view(const analysis::DeviceResult& device);
/// The interval's text; an en dash without one.
[[nodiscard]] std::string interval_or_dash(const std::optional<analysis::Interval>& interval,
                                           std::string_view unit);

/// Names of figures, as verdicts.cpp of the analysis spells them.
inline constexpr std::string_view detection_figure = "detection rate";
inline constexpr std::string_view latency_figure = "latency ";
inline constexpr std::string_view in_time_figure = "answered within ";
inline constexpr std::string_view alarm_figure = "false alarms per hour";

}  // namespace plexor::report
