#include "analysis/history/trend_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <set>

#include "analysis/number_text.hpp"

namespace plexor::analysis {

std::string_view to_text(Figure figure) {
  switch (figure) {
    case Figure::detection: return "detection";
    case Figure::false_responses: return "false responses";
    case Figure::confusions: return "confusions";
    case Figure::alarms: return "false alarms";
    case Figure::median: return "median latency";
    case Figure::p95: return "p95 latency";
    case Figure::transit: return "transit";
    case Figure::temperature: return "coil temperature";
  }
  return {};
}

std::string_view unit_of(Figure figure) {
  if (figure == Figure::temperature) return "degC";
  if (figure == Figure::alarms) return "/h";
  return figure < Figure::alarms ? "" : "ms";
}

std::string value_text(Figure figure, double value) {
  if (figure == Figure::transit) return fmt::format("{:.2f} ms", value);
  if (figure == Figure::temperature) return fmt::format("{:.1f} °C", value);
  return std::isfinite(value) ? figure_text(value, unit_of(figure)) : "not heard";
}

bool is_of_tapper(Figure figure) { return figure >= Figure::transit; }

std::string_view to_text(FindingKind kind) {
  switch (kind) {
    case FindingKind::hole: return "hole";
    case FindingKind::bad_end: return "bad-end";
    case FindingKind::missing: return "missing";
    case FindingKind::broken_device: return "broken-device";
    case FindingKind::odd_night: return "odd-night";
    case FindingKind::step: return "step";
    case FindingKind::drift: return "drift";
    case FindingKind::scatter: return "scatter";
    case FindingKind::alarm_hours: return "alarm-hours";
  }
  return {};
}

std::string_view to_text(Cause cause) {
  switch (cause) {
    case Cause::power_or_restart: return "power cut or restart";
    case Cause::program_killed: return "the program was ended";
    case Cause::stopped: return "stopped in order";
    case Cause::rig_fault: return "fault of the rig";
    case Cause::no_run: return "no run";
    case Cause::device: return "the device";
    case Cause::release: return "the release";
    case Cause::setting: return "the setting";
    case Cause::tapper: return "the tapper";
    case Cause::hour: return "the hour of the day";
    case Cause::unknown: return "not known";
  }
  return {};
}

namespace history {

std::string times_text(std::uint64_t times) {
  if (times == 1) return "once";
  return times == 2 ? "twice" : fmt::format("{} times", times);
}

std::string p_text(double p) { return p < 1e-4 ? "p < 0.0001" : fmt::format("p = {:.2g}", p); }

std::string level_text(const TrendSeries& series, std::span<const std::size_t> points) {
  Counts counts;
  double hours = 0.0;
  double sum = 0.0;
  for (const std::size_t i : points) {
    const TrendPoint& point = series.points[i];
    counts = {counts.x + point.counts.x, counts.n + point.counts.n};
    hours += point.hours;
    sum += point.value;
  }
  const auto x = static_cast<double>(counts.x);
  if (series.figure < Figure::alarms) {
    return fmt::format("{} ({} of {})",
                       value_text(series.figure, x / static_cast<double>(counts.n)), counts.x,
                       counts.n);
  }
  if (series.figure == Figure::alarms) {
    return fmt::format("{} ({} in {})", value_text(series.figure, x / hours), counts.x,
                       hours_text(hours));
  }
  return value_text(series.figure, sum / static_cast<double>(points.size()));
}

std::string slope_text(Figure figure, double per_night) {
  const double size = std::abs(per_night);
  if (figure < Figure::alarms) {
    const std::string points = fmt::format("{:.2g}", 100.0 * size);
    return fmt::format("{} point{} a night", points, points == "1" ? "" : "s");
  }
  if (figure == Figure::alarms) return fmt::format("{:.2g} per hour a night", size);
  if (figure == Figure::temperature) return fmt::format("{:.2g} °C a night", size);
  return fmt::format("{:.2g} ms a night", size);
}

std::string subject_text(const std::string& unit) { return unit.empty() ? "the tapper" : unit; }

std::string owner_text(const TrendSeries& series) {
  return fmt::format("{}'s {}", subject_text(series.unit), to_text(series.figure));
}

std::string where_text(const Trend& trend, const std::string& scenario, const std::string& rig,
                       const std::string& surface) {
  std::set<std::string> scenarios;
  std::set<std::string> rigs;
  std::set<std::string> surfaces;
  for (const TrendNight& night : trend.nights) {
    rigs.insert(night.run.rig);
    if (night.missing) continue;
    scenarios.insert(night.run.scenario);
    surfaces.insert(night.run.surface);
  }
  std::string text;
  const auto add = [&](bool several, std::string_view how, const std::string& name) {
    if (!several || name.empty()) return;
    text += fmt::format("{} {} {}", text.empty() ? "" : ",", how, name);
  };
  add(surfaces.size() > 1, "on", surface);
  add(scenarios.size() > 1, "with", scenario);
  add(rigs.size() > 1, "at", rig);
  return text;
}

std::string nights_text(std::span<const std::string> names) {
  std::string text = names.size() == 1 ? "night of " : "nights of ";
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (i > 0) text += i + 1 == names.size() ? " and " : ", ";
    text += names[i];
  }
  return text;
}

std::string capitalised(std::string text) {
  if (!text.empty() && text[0] >= 'a' && text[0] <= 'z') {
    text[0] = static_cast<char>(text[0] - 'a' + 'A');
  }
  return text;
}

TrendFinding finding_of(const TrendNight& night, FindingKind kind, Cause cause) {
  TrendFinding finding;
  finding.kind = kind;
  finding.cause = cause;
  finding.nights = {night.name};
  finding.rig = night.run.rig;
  finding.surface = night.run.surface;
  finding.scenario = night.run.scenario;
  return finding;
}

}  // namespace history
}  // namespace plexor::analysis
