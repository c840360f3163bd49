#include <fmt/format.h>

#include <algorithm>

#include "analysis/figures.hpp"
#include "analysis/number_text.hpp"
#include "analysis/soak/drift.hpp"
#include "report/format.hpp"
#include "report/page_view.hpp"
#include "report/soak_text.hpp"
#include "report/text.hpp"

namespace plexor::report {

namespace {

using analysis::DeviceHour;
using analysis::Drift;
using analysis::Results;
using analysis::RunHour;

std::string capitalised(std::string text) {
  if (!text.empty() && text.front() >= 'a' && text.front() <= 'z') {
    text.front() = static_cast<char>(text.front() - 'a' + 'A');
  }
  return text;
}

std::string decimals_or_dash(const std::optional<double>& value, int decimals) {
  return value ? fmt::format("{:.{}f}", *value, decimals) : "–";
}

/// "22:00", what local clocks said when the hour began.
std::string local_begin(const Results& results, const RunHour& hour) {
  // Just after its first moment: where a hole stands at the very begin, the clock after it.
  return local_time_before(results, hour.from_s + 1e-3);
}

View hour_row(const Results& results, std::size_t index, std::size_t device) {
  const RunHour& hour = results.soak->hours[index];
  const DeviceHour& one = hour.devices[device];
  const analysis::AlarmRate& alarms = one.false_alarms;
  const bool listened = alarms.hours > 0.0;
  return {{"hour", std::to_string(index + 1)},
          {"local", or_nothing(local_begin(results, hour))},
          {"trials", count(hour.trials)},
          {"detected", share_text(one.detection)},
          {"detected_interval", interval_or_dash(one.detection.wilson, "")},
          {"median", one.median_ms ? quantity(*one.median_ms, "ms") : "–"},
          {"quiet", listened ? trimmed(alarms.hours, 3) + " h" : "–"},
          {"alarms", count(alarms.incidents)},
          {"disturbed", count(one.disturbed_incidents)},
          {"rate", alarms.per_hour ? quantity(*alarms.per_hour, "/h") : "–"},
          {"rate_interval", interval_or_dash(alarms.exact, "/h")},
          {"transit", decimals_or_dash(hour.transit_ms, 3)},
          {"coil", decimals_or_dash(hour.coil_c, 1)}};
}

View drift_row(const Drift& drift) {
  return {{"whose", drift.device.empty() ? "the tapper" : drift.device},
          {"figure", drift.figure},
          {"from", analysis::drift_figure_text(drift, drift.from)},
          {"to", analysis::drift_figure_text(drift, drift.to)},
          {"test", drift.test == "Laplace" ? "Laplace" : "Mann and Kendall"},
          {"n", analysis::counted(drift.n, drift.test == "Laplace" ? "alarm" : "hour")},
          {"p", fmt::format("{:.2g}", drift.p)},
          {"adjusted", fmt::format("{:.2g}", drift.adjusted_p)},
          {"found", drift.found}};
}

std::string hours_title(const Results& results, std::size_t device) {
  const std::string extremes = extremes_text(*results.soak, device);
  return extremes.empty() ? "Nothing was judged in any hour" : capitalised(extremes);
}

View device_hours(const Results& results, std::size_t device) {
  View rows = View::array();
  for (std::size_t hour = 0; hour < results.soak->hours.size(); ++hour) {
    rows.push_back(hour_row(results, hour, device));
  }
  const analysis::DeviceResult& result = results.devices[device];
  return {{"index", std::to_string(device)},
          {"name", result.name},
          {"title", hours_title(results, device)},
          {"n", count(result.detection.n)},
          {"quiet", trimmed(result.false_alarms.hours, 2)},
          {"rows", rows}};
}

/// What a chart has drawn in it: [seconds, text] of holes, [from, to, text] of disturbances.
View marks_of_course(const Results& results) {
  View holes = View::array();
  for (const analysis::Hole& hole : results.holes) {
    holes.push_back(
        {plotted(hole.begins_s), hole.length_s ? "not watched for " + length_of_time(*hole.length_s)
                                               : "not watched for an unknown time"});
  }
  View disturbed = View::array();
  for (const analysis::DisturbanceMark& mark : results.disturbances.marks) {
    disturbed.push_back({plotted(mark.from_s), plotted(mark.to_s),
                         printable_line(results.disturbances.by_name[mark.name].name)});
  }
  return {{"holes", holes}, {"disturbed", disturbed}};
}

/// [low, estimate, high]; without an interval the estimate alone.
View with_ends(const std::optional<double>& estimate,
               const std::optional<analysis::Interval>& interval) {
  if (!estimate) return nullptr;
  const View middle = plotted(*estimate);
  if (!interval) return {middle, middle, middle};
  return {plotted(interval->lower), middle, plotted(interval->upper)};
}

View hour_points(const Results& results, std::size_t device) {
  View points = View::array();
  for (const RunHour& hour : results.soak->hours) {
    const DeviceHour& one = hour.devices[device];
    points.push_back({{"from", plotted(hour.from_s)},
                      {"to", plotted(hour.to_s)},
                      {"share", with_ends(one.detection.estimate, one.detection.wilson)},
                      {"n", one.detection.n},
                      {"rate", with_ends(one.false_alarms.per_hour, one.false_alarms.exact)},
                      {"alarms", one.false_alarms.incidents},
                      {"quiet_h", plotted(one.false_alarms.hours)}});
  }
  return points;
}

std::optional<analysis::AlarmRate> rate_of_day_hour(const Results& results,
                                                    const analysis::HourOfDay& hour) {
  if (hour.quiet_hours <= 0.0) return std::nullopt;
  analysis::AlarmRate rate{.incidents = hour.incidents,
                           .hours = hour.quiet_hours,
                           .per_hour = static_cast<double>(hour.incidents) / hour.quiet_hours,
                           .exact = {}};
  if (!results.may_stop_early) {
    rate.exact = analysis::garwood(hour.incidents, hour.quiet_hours, analysis::display_confidence,
                                   analysis::Sides::two);
  }
  return rate;
}

View day_rows(const Results& results) {
  View rows = View::array();
  for (const analysis::DeviceResult& device : results.devices) {
    for (std::size_t hour = 0; hour < device.by_hour_of_day.size(); ++hour) {
      const auto rate = rate_of_day_hour(results, device.by_hour_of_day[hour]);
      if (!rate) continue;
      rows.push_back({{"device", device.name},
                      {"hour", fmt::format("{:02}:00", hour)},
                      {"alarms", count(rate->incidents)},
                      {"quiet", trimmed(rate->hours, 2) + " h"},
                      {"rate", quantity(*rate->per_hour, "/h")},
                      {"interval", interval_or_dash(rate->exact, "/h")}});
    }
  }
  return rows;
}

View day_points(const Results& results, const analysis::DeviceResult& device) {
  View points = View::array();
  for (std::size_t hour = 0; hour < device.by_hour_of_day.size(); ++hour) {
    const auto rate = rate_of_day_hour(results, device.by_hour_of_day[hour]);
    if (!rate) continue;
    points.push_back(
        {hour, with_ends(rate->per_hour, rate->exact), rate->incidents, plotted(rate->hours)});
  }
  return points;
}

}  // namespace

View soak_view(const Results& results) {
  if (!results.soak) return false;
  View devices = View::array();
  for (std::size_t device = 0; device < results.devices.size(); ++device) {
    devices.push_back(device_hours(results, device));
  }
  View drifts = View::array();
  for (const Drift& drift : results.soak->drifts) drifts.push_back(drift_row(drift));
  return {{"drift", capitalised(results.soak->drift_word)},
          {"hours", analysis::counted(results.soak->hours.size(), "hour")},
          {"drifts", drifts},
          {"any_drifts", !drifts.empty()},
          {"devices", devices},
          {"any_day", knows_hours_of_day(results)},
          {"day_rows", day_rows(results)},
          {"disturbed", !results.disturbances.by_name.empty()}};
}

View course_view(const Results& results) {
  View sentences = View::array();
  for (const std::string& sentence : course_sentences(results)) {
    sentences.push_back(capitalised(sentence) + ".");
  }
  return sentences;
}

View soak_charts(const Results& results) {
  View devices = View::array();
  for (std::size_t device = 0; results.soak && device < results.devices.size(); ++device) {
    const analysis::DeviceResult& result = results.devices[device];
    const analysis::Verdict* alarms = find_verdict(results, result.name, alarm_figure);
    const analysis::Verdict* detection = find_verdict(results, result.name, detection_figure);
    devices.push_back({{"name", printable_line(result.name)},
                       {"hours", hour_points(results, device)},
                       {"rate_limit", alarms ? plotted(alarms->limit) : View(nullptr)},
                       {"share_limit", detection ? plotted(detection->limit) : View(nullptr)},
                       {"day", day_points(results, result)}});
  }
  View charts = marks_of_course(results);
  charts["devices"] = devices;
  return charts;
}

}  // namespace plexor::report
