#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "analysis/results.hpp"

// Whether a device changed in the course of one run, and whether the tapper did: one must not be
// taken for the other.

namespace plexor::analysis {

/// Drift is told where the p, adjusted after Holm over all that was tested in the run, is at most
/// this. Mann and Kendall's test needs some hours, each with enough in it to say anything;
/// Laplace's some alarms.
inline constexpr double drift_error = 0.05;
inline constexpr std::size_t fewest_drift_hours = 5;
inline constexpr std::uint64_t fewest_trials_an_hour = 5;
inline constexpr double least_quiet_an_hour = 0.25;
inline constexpr std::size_t fewest_drift_alarms = 4;

/// A device's undisturbed false alarms, in hours of undisturbed listening.
struct AlarmCourse {
  std::span<const double> alarms_h;
  double listened_h = 0.0;
};

/// Of each device: false alarms by Laplace's test (by Mann and Kendall's over hourly rates where
/// hours scatter too far for one steady rate: Laplace's would take a burst for a trend), detection
/// and median latency by Mann and Kendall's over hours. Of the tapper: transit and coil temperature
/// likewise. What there is too little of is not tested. `alarms`: by device.
[[nodiscard]] std::vector<Drift> drifts_of(std::span<const RunHour> hours,
                                           std::span<const DeviceResult> devices,
                                           std::span<const AlarmCourse> alarms);

/// A drifting figure in its unit: "98.2 %", "4.812 ms" of a transit, "41.0 °C".
[[nodiscard]] std::string drift_figure_text(const Drift& drift, double value);

/// One sentence: what drifted, by how much; whether the tapper moved too; or that nothing did.
[[nodiscard]] std::string drift_words(std::span<const Drift> drifts, std::size_t hours);

}  // namespace plexor::analysis
