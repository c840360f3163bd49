#include "analysis/soak/drift.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "analysis/comparing/multiplicity.hpp"
#include "analysis/number_text.hpp"
#include "analysis/soak/hour_blocks.hpp"
#include "analysis/trend/event_trend.hpp"
#include "analysis/trend/series_trend.hpp"

namespace plexor::analysis {
namespace {

/// What moves, and how it is called.
struct Course {
  std::string device;
  std::string figure;
  std::string unit;
};

/// The figure of an hour; nothing where there is too little in it.
using FigureOfHour = std::function<std::optional<double>(const RunHour&)>;

std::optional<Drift> course_by_hour(const Course& course, std::span<const RunHour> hours,
                                    const FigureOfHour& figure_of) {
  std::vector<double> middles_h;
  std::vector<double> figures;
  for (const RunHour& hour : hours) {
    const std::optional<double> figure = figure_of(hour);
    if (!figure || !std::isfinite(*figure)) continue;
    middles_h.push_back((hour.from_s + hour.to_s) / 7200.0);
    figures.push_back(*figure);
  }
  if (figures.size() < fewest_drift_hours) return std::nullopt;
  const MannKendall test = mann_kendall(figures);
  const SenSlope line = sen_slope(middles_h, figures).value();
  return Drift{.device = course.device,
               .figure = course.figure,
               .unit = course.unit,
               .test = "Mann-Kendall",
               .n = figures.size(),
               .z = test.z,
               .p = test.p,
               .from = line.intercept + line.slope * middles_h.front(),
               .to = line.intercept + line.slope * middles_h.back(),
               .word = {}};
}

std::optional<Drift> alarms_by_instant(const Course& course, const AlarmCourse& alarms) {
  if (alarms.alarms_h.size() < fewest_drift_alarms) return std::nullopt;
  // The test wants instants above 0: an alarm may come with the first nanosecond of listening.
  std::vector<double> times(alarms.alarms_h.begin(), alarms.alarms_h.end());
  const double least = std::nextafter(0.0, 1.0);
  for (double& time : times) time = std::clamp(time, least, alarms.listened_h);
  const LaplaceTrend test = laplace_trend(times, alarms.listened_h, Truncation::time).value();
  const double half_h = alarms.listened_h / 2.0;
  const auto early = std::ranges::upper_bound(times, half_h) - times.begin();
  const auto late = static_cast<std::ptrdiff_t>(times.size()) - early;
  return Drift{.device = course.device,
               .figure = course.figure,
               .unit = course.unit,
               .test = "Laplace",
               .n = times.size(),
               .z = test.z,
               .p = test.p,
               .from = static_cast<double>(early) / half_h,
               .to = static_cast<double>(late) / half_h,
               .word = {}};
}

std::optional<Drift> alarm_course(std::span<const RunHour> hours, std::size_t device,
                                  const DeviceResult& result, const AlarmCourse& alarms) {
  const Course course{result.name, std::string(alarms_drift), "/h"};
  const auto& scatter = result.false_alarms.scatter;
  if (!scatter || scatter->p > dispersion_error) return alarms_by_instant(course, alarms);
  return course_by_hour(course, hours, [device](const RunHour& hour) {
    const AlarmRate& rate = hour.devices[device].false_alarms;
    return rate.hours >= least_quiet_an_hour ? rate.per_hour : std::nullopt;
  });
}

void add_device(std::vector<Drift>& drifts, std::span<const RunHour> hours, std::size_t device,
                const DeviceResult& result, const AlarmCourse& alarms) {
  const auto add = [&drifts](std::optional<Drift> drift) {
    if (drift) drifts.push_back(*std::move(drift));
  };
  const auto told = [device](const RunHour& hour) {
    return hour.devices[device].detection.n >= fewest_trials_an_hour;
  };
  add(alarm_course(hours, device, result, alarms));
  add(course_by_hour({result.name, std::string(detection_drift), ""}, hours,
                     [&](const RunHour& hour) {
                       return told(hour) ? hour.devices[device].detection.estimate : std::nullopt;
                     }));
  add(course_by_hour({result.name, "latency median", "ms"}, hours, [&](const RunHour& hour) {
    return told(hour) ? hour.devices[device].median_ms : std::nullopt;
  }));
}

std::string drift_sentence(const Drift& drift) {
  const bool by_alarm = drift.test == "Laplace";
  return fmt::format("{}{} {} from {} {}to {}{} ({}, p = {:.2g} after Holm, n = {})",
                     drift.device.empty() ? "the tapper's " : drift.device + "'s ", drift.figure,
                     drift.z > 0.0 ? "rose" : "fell", drift_figure_text(drift, drift.from),
                     by_alarm ? "in the first half " : "", drift_figure_text(drift, drift.to),
                     by_alarm ? " in the second" : "", drift.test, drift.adjusted_p,
                     counted(drift.n, by_alarm ? "alarm" : "hour"));
}

}  // namespace

std::string drift_figure_text(const Drift& drift, double value) {
  if (drift.unit == "degC") return fmt::format("{:.1f} °C", value);
  if (drift.device.empty()) return fmt::format("{:.3f} {}", value, drift.unit);
  // The line through shares of 100 % may miss it by its last bits.
  return figure_text(std::round(1e9 * value) / 1e9, drift.unit);
}

std::vector<Drift> drifts_of(std::span<const RunHour> hours, std::span<const DeviceResult> devices,
                             std::span<const AlarmCourse> alarms) {
  std::vector<Drift> drifts;
  for (std::size_t device = 0; device < devices.size(); ++device) {
    add_device(drifts, hours, device, devices[device], alarms[device]);
  }
  const auto of_tapper = [&](const char* figure, const char* unit,
                             std::optional<double> RunHour::*mean) {
    auto drift = course_by_hour({"", figure, unit}, hours,
                                [mean](const RunHour& hour) { return hour.*mean; });
    if (drift) drifts.push_back(*std::move(drift));
  };
  of_tapper("transit", "ms", &RunHour::transit_ms);
  of_tapper("coil temperature", "degC", &RunHour::coil_c);
  std::vector<double> p_values;
  p_values.reserve(drifts.size());
  for (const Drift& drift : drifts) p_values.push_back(drift.p);
  const std::vector<double> after_holm = adjusted(p_values, Adjustment::holm);
  for (std::size_t i = 0; i < drifts.size(); ++i) {
    drifts[i].adjusted_p = after_holm[i];
    drifts[i].found = after_holm[i] <= drift_error;
    drifts[i].word = drift_sentence(drifts[i]);
  }
  return drifts;
}

std::string drift_words(std::span<const Drift> drifts, std::size_t hours) {
  std::vector<std::string> of_devices;
  std::vector<std::string> of_tapper;
  for (const Drift& drift : drifts) {
    if (drift.found) (drift.device.empty() ? of_tapper : of_devices).push_back(drift.word);
  }
  if (drifts.empty()) {
    return fmt::format("too short to look for drift: {} of the run's own time",
                       counted(hours, "hour"));
  }
  const std::string tests =
      fmt::format("{} in {}, error {:.2g} for all together", counted(drifts.size(), "test"),
                  counted(hours, "hour"), drift_error);
  if (of_devices.empty() && of_tapper.empty()) return fmt::format("no drift found ({})", tests);
  if (of_tapper.empty()) return fmt::format("{} ({})", fmt::join(of_devices, "; "), tests);
  if (of_devices.empty()) {
    return fmt::format("no drift of a device found, though the tapper moved: {} ({})",
                       fmt::join(of_tapper, "; "), tests);
  }
  return fmt::format("{}; the tapper moved too: {} ({})", fmt::join(of_devices, "; "),
                     fmt::join(of_tapper, "; "), tests);
}

}  // namespace plexor::analysis
