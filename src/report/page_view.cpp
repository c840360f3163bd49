#include "report/page_view.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>
#include <vector>

#include "analysis/number_text.hpp"
#include "base/calendar.hpp"
#include "base/wall_time.hpp"
#include "report/format.hpp"
#include "report/soak_text.hpp"

namespace plexor::report {

namespace {

using analysis::Verdict;

/// The ends of an interval; infinite where it has none on that side.
std::pair<double, double> claimed_ends(const analysis::Interval& interval) {
  constexpr double infinity = std::numeric_limits<double>::infinity();
  return {interval.sides == analysis::Sides::upper ? -infinity : interval.lower,
          interval.sides == analysis::Sides::lower ? infinity : interval.upper};
}

View verdict_ruler(const Verdict& verdict) {
  if (!verdict.interval) return false;
  const auto [lower, upper] = claimed_ends(*verdict.interval);
  return ruler({.lower = lower,
                .upper = upper,
                .estimate = verdict.estimate,
                .limit = verdict.limit,
                .at_least = verdict.at_least});
}

View verdict_view(const Verdict& verdict) {
  return {{"mark", analysis::to_text(verdict.judgement)},
          {"word", mark_word(verdict.judgement)},
          {"device", verdict.device},
          {"figure", verdict.figure},
          {"limit", limit_text(verdict)},
          {"estimate", estimate_text(verdict)},
          {"bound",
           verdict.interval ? interval_text(*verdict.interval, verdict.unit, verdict.limit) : "–"},
          {"confidence", verdict.interval ? confidence_text(*verdict.interval) : "–"},
          {"sample", sample_text(verdict)},
          {"ruler", verdict_ruler(verdict)},
          {"reason", verdict.reason}};
}

/// A key figure without a limit: the two-sided interval stands for itself.
View plain_figure(const std::string& label, const std::string& value,
                  const std::optional<analysis::Interval>& interval, std::string_view unit,
                  const std::string& sample) {
  return {{"label", label},
          {"value", value},
          {"judged", false},
          {"bound", interval ? View(interval_text(*interval, unit)) : View(false)},
          {"confidence", interval ? View(confidence_text(*interval)) : View(false)},
          {"sample", sample},
          {"limit", "no limit set"},
          {"ruler", false}};
}

View judged_figure(const std::string& label, const Verdict& verdict, const std::string& sample) {
  View view = verdict_view(verdict);
  view["label"] = label;
  view["value"] = estimate_text(verdict);
  view["judged"] = true;
  view["sample"] = verdict.sequential ? tested_text(verdict) : sample;
  view["limit"] = limit_label(verdict);
  if (!verdict.interval) {
    view["bound"] = false;
    view["confidence"] = false;
  }
  return view;
}

View detection_figure_view(const analysis::Results& results, const analysis::DeviceResult& device) {
  const std::string sample =
      fmt::format("{} of {} trials", count(device.detection.x), count(device.detection.n));
  const Verdict* verdict = find_verdict(results, device.name, detection_figure);
  if (verdict) return judged_figure("Detection", *verdict, sample);
  return plain_figure("Detection", share_text(device.detection), device.detection.exact, "",
                      sample);
}

View latency_figure_view(const analysis::Results& results, const analysis::DeviceResult& device) {
  const std::string sample = fmt::format("{} trials, {} of them not heard", count(device.latency.n),
                                         count(device.latency.n - device.latency.heard));
  const Verdict* verdict = find_verdict(results, device.name, latency_figure);
  if (verdict) {
    const std::string quantile = verdict->figure.substr(latency_figure.size());
    return judged_figure("Latency, " + quantile, *verdict, sample);
  }
  if (const Verdict* in_time = find_verdict(results, device.name, in_time_figure)) {
    return judged_figure("Latency: " + in_time->figure, *in_time, sample);
  }
  for (const analysis::Percentile& one : device.latency.percentiles) {
    if (std::abs(one.p - 0.95) > 1e-9 || !one.ms) continue;
    return plain_figure("Latency, p95", quantity(*one.ms, "ms"), one.interval, "ms", sample);
  }
  return plain_figure("Latency, p95", "not measured", std::nullopt, "ms", sample);
}

View alarm_figure_view(const analysis::Results& results, const analysis::DeviceResult& device) {
  const analysis::AlarmRate& alarms = device.false_alarms;
  const std::string sample =
      fmt::format("{} incident{} in {} h of quiet", count(alarms.incidents),
                  alarms.incidents == 1 ? "" : "s", trimmed(alarms.hours, 2));
  const Verdict* verdict = find_verdict(results, device.name, alarm_figure);
  if (verdict) return judged_figure("False alarms", *verdict, sample);
  return plain_figure("False alarms",
                      alarms.per_hour ? quantity(*alarms.per_hour, "/h") : "not measured",
                      alarms.shown(), "/h", sample);
}

View void_figure_view(const analysis::Results& results) {
  const bool too_many = results.void_fraction > results.max_void_fraction;
  const std::uint64_t voids = void_total(results);
  return {{"label", "Void trials"},
          {"value", quantity(results.void_fraction, "")},
          {"judged", too_many},
          {"mark", "undecided"},
          {"word", "TOO MANY"},
          {"bound", voids == 0 ? View(false) : View(void_reasons(results))},
          {"confidence", false},
          {"sample", fmt::format("{} void, {} valid of {} planned", count(voids),
                                 count(results.trials_valid), count(results.trials_planned))},
          {"limit", "limit: at most " + analysis::limit_text(results.max_void_fraction, "")},
          {"ruler", false}};
}

/// One group for each device; the voids, which all devices share, stand with the last.
View key_figures(const analysis::Results& results) {
  View groups = View::array();
  for (const analysis::DeviceResult& device : results.devices) {
    groups.push_back(
        {{"device", results.devices.size() > 1 ? View(device.name) : View(false)},
         {"figures",
          {detection_figure_view(results, device), latency_figure_view(results, device),
           alarm_figure_view(results, device)}}});
  }
  if (results.devices.size() == 1) {
    groups.back()["figures"].push_back(void_figure_view(results));
  } else {
    groups.push_back(
        {{"device", "The run"}, {"figures", View::array({void_figure_view(results)})}});
  }
  return groups;
}

std::string timeline_title(const analysis::Results& results) {
  std::uint64_t wrong = 0;
  std::uint64_t alarms = 0;
  for (const analysis::TimelineBin& bin : results.timeline) {
    wrong += bin.wrong;
    alarms += bin.alarms;
  }
  return fmt::format("{} wrong answer{} and {} false alarm{} in {}", count(wrong),
                     wrong == 1 ? "" : "s", count(alarms), alarms == 1 ? "" : "s",
                     length_of_time(results.duration_s));
}

View timeline_view(const analysis::Results& results) {
  View rows = View::array();
  std::uint64_t answers = 0;
  for (const analysis::TimelineBin& bin : results.timeline) {
    answers += bin.trials;
    if (bin.wrong == 0 && bin.alarms == 0) continue;
    rows.push_back({{"from", clock_time(bin.from_s)},
                    {"to", clock_time(bin.to_s)},
                    {"answers", count(bin.trials)},
                    {"wrong", count(bin.wrong)},
                    {"alarms", count(bin.alarms)}});
  }
  return {{"title", timeline_title(results)}, {"n", count(answers)}, {"rows", rows}};
}

std::string trial_text(const base::TrialId& id) {
  std::string text = fmt::format("{}/{}", id.block, id.number);
  if (id.attempt > 0) text += fmt::format("/{}", id.attempt);
  return text;
}

View finding_row(const analysis::Results& results, std::size_t index) {
  const analysis::Finding& finding = results.findings[index];
  const bool known = finding.device < results.devices.size();
  return {{"row", std::to_string(index + 1)},
          {"when", clock_time(finding.run_s)},
          {"segment", std::to_string(finding.segment + 1)},
          {"device", known ? results.devices[finding.device].name : std::string()},
          {"what", finding.what},
          {"trial", trial_text(finding.trial)},
          {"rhythm", or_nothing(finding.rhythm)},
          {"commanded", number_list(finding.commanded_ms, 1)},
          {"measured", number_list(finding.measured_ms, 1)},
          {"strike", number_list(finding.strike_m_s, 2)},
          {"heard", or_nothing(finding.heard)},
          {"latency", finding.latency_ms ? quantity(*finding.latency_ms, "ms") : "–"},
          {"duplicates", count(finding.duplicates)}};
}

View findings_view(const analysis::Results& results) {
  View rows = View::array();
  bool segments = false;
  for (std::size_t i = 0; i < results.findings.size(); ++i) {
    rows.push_back(finding_row(results, i));
    segments = segments || results.findings[i].segment > 0;
  }
  return {{"rows", rows},
          {"any", !rows.empty()},
          {"nothing", results.trials_valid == 0 && results.quiet_hours == 0.0
                          ? "No trial counts, so there is nothing to find."
                          : "Of what counts, every trial was answered rightly, and there was no "
                            "alarm in quiet."},
          {"total", count(results.findings_total)},
          {"shown", count(results.findings.size())},
          {"capped", results.findings_total > results.findings.size()},
          {"segments", segments}};
}

/// What a reader must know before the figures: the run is not what it should have been.
View notices(const analysis::Results& results) {
  View list = View::array();
  if (results.is_live) {
    list.push_back("The run still goes on: everything on this page is so far.");
  } else if (!results.ended || results.ended->reason != journal::Ended::Reason::complete) {
    list.push_back("The run did not finish: " + ending_text(results) + ".");
  }
  if (!results.holes.empty()) {
    std::string told = hole_text(results, results.holes.front()) + ".";
    told.front() = 'N';
    if (results.holes.size() > 1) {
      told +=
          fmt::format(" {} holes in all; see the course of the run.", count(results.holes.size()));
    }
    list.push_back(told);
  }
  if (results.waveforms_reading && results.waveforms_reading->damage_count > 0) {
    const journal::ReadSummary& waves = *results.waveforms_reading;
    list.push_back(fmt::format(
        "The waveforms are damaged in {} place{}, first in record {} ({}); what was lost "
        "there is missing from what the channels are said to show.",
        count(waves.damage_count), waves.damage_count == 1 ? "" : "s",
        count(waves.damages.front().line), waves.damages.front().what));
  }
  if (results.reading.damage_count > 0) {
    const std::uint64_t damages = results.reading.damage_count;
    list.push_back(
        fmt::format("The journal is damaged in {} place{}; what was lost there is "
                    "missing from every figure.",
                    count(damages), damages == 1 ? "" : "s"));
  }
  if (std::string early = early_stop_text(results); !early.empty()) {
    early.front() = 'S';
    list.push_back(early);
  }
  return list;
}

void add_row(View& rows, const std::string& term, const std::string& value) {
  rows.push_back({{"term", term}, {"value", value.empty() ? "not given" : value}});
}

/// By people's clocks, where the run knew them; empty where nobody knows.
std::string started_text(const analysis::Results& results) {
  if (const auto wall = results.clock.first()) return base::to_text(*wall);
  return results.host ? results.host->started_utc : "";
}

/// "of 2026-05-18, 25 days before this run".
std::string calibration_text(const journal::RigFacts& rig, const std::string& started) {
  if (!rig.calibrated) return "none: strength is given as drive";
  const auto measured = base::day_of(rig.calibration_date);
  const auto used = base::day_of(started);
  std::string date = "of " + rig.calibration_date;
  if (!measured || !used || *used < *measured) return date;
  return date + ", " + std::to_string((*used - *measured).count()) + " days before this run";
}

View scope_rows(const journal::RigFacts& rig, const std::string& started) {
  View rows = View::array();
  add_row(rows, "Surface", rig.surface);
  add_row(rows, "Spot", rig.spot);
  add_row(rows, "Mounting", rig.mounting);
  for (const journal::DeviceFacts& device : rig.devices) {
    add_row(rows, "Device " + device.name,
            device.version.empty() ? "version not given" : "version " + device.version);
  }
  add_row(rows, "Rig", rig.name + (rig.simulated ? " (simulated)" : ""));
  add_row(rows, "Calibration", calibration_text(rig, started));
  add_row(rows, "Contact",
          rig.contact_sensed ? "sensed"
                             : "not sensed: planned contacts, transit spread " +
                                   trimmed(base::to_ms(rig.transit_sd), 3) + " ms (sd)");
  return rows;
}

View run_rows(const analysis::Results& results) {
  const journal::Header& header = results.header;
  View rows = View::array();
  add_row(rows, "Scenario", fmt::format("{} ({})", results.scenario_name, header.scenario_file));
  add_row(rows, "Purpose", results.purpose);
  add_row(rows, "Rig file", header.rig_file);
  add_row(rows, "Seed", std::to_string(header.seed));
  add_row(rows, "Duration", length_of_time(results.duration_s));
  add_row(rows, "Quiet listened to", trimmed(results.quiet_hours, 3) + " h");
  add_row(rows, "Ended", ending_text(results));
  add_row(rows, "Void presentations", void_reasons(results));
  add_row(rows, "Started", started_text(results));
  if (results.host) {
    add_row(rows, "Controller", results.host->host_name + ", " + results.host->system);
    if (!results.host->scheduling.empty()) {
      add_row(rows, "Pulses given by", results.host->scheduling);
    }
  }
  add_row(rows, "plexor", header.plexor_version);
  add_row(rows, "Journal",
          fmt::format("{} records, {} bytes, {} damaged places", count(results.reading.records),
                      count(results.reading.bytes), count(results.reading.damage_count)));
  return rows;
}

View damage_rows(const journal::ReadSummary& reading) {
  View rows = View::array();
  for (const journal::Damage& damage : reading.damages) {
    rows.push_back({{"line", count(damage.line)},
                    {"bytes", count(damage.bytes)},
                    {"what", damage.what + (damage.torn_tail ? " (torn tail)" : "")}});
  }
  return rows;
}

View setting_view(const analysis::Results& results) {
  const journal::Header& header = results.header;
  return {{"scope", scope_rows(header.rig, started_text(results))},
          {"run", run_rows(results)},
          {"damages", damage_rows(results.reading)},
          {"damaged", !results.reading.damages.empty()},
          {"contact_sensed", header.rig.contact_sensed},
          {"calibrated", header.rig.calibrated},
          {"scenario_text", header.scenario_text},
          {"rig_text", header.rig_text}};
}

}  // namespace

View ruler(const Ruled& ruled) {
  double least = ruled.limit;
  double most = ruled.limit;
  for (const double value : {ruled.lower, ruled.upper, ruled.estimate.value_or(ruled.limit)}) {
    if (!std::isfinite(value)) continue;
    least = std::min(least, value);
    most = std::max(most, value);
  }
  const double margin = std::max(0.25 * (most - least), 0.02 * std::abs(most) + 1e-9);
  const auto at = [&](double value) {
    if (std::isinf(value)) return value > 0.0 ? 100.0 : 0.0;
    return 100.0 * (value - least + margin) / (most - least + 2.0 * margin);
  };
  const double limit = at(ruled.limit);
  const auto text = [](double percent) { return fmt::format("{:.1f}", percent); };
  return {{"left", text(at(ruled.lower))},
          {"width", text(at(ruled.upper) - at(ruled.lower))},
          {"limit", text(limit)},
          {"beyond", std::isinf(ruled.lower) && ruled.lower > 0.0},
          {"accepted_left", text(ruled.at_least ? limit : 0.0)},
          {"accepted_width", text(ruled.at_least ? 100.0 - limit : limit)},
          {"estimate", ruled.estimate ? View(text(at(*ruled.estimate))) : View(false)}};
}

const Verdict* find_verdict(const analysis::Results& results, const std::string& device,
                            std::string_view figure) {
  for (const Verdict& verdict : results.verdicts) {
    if (verdict.device == device && verdict.figure.starts_with(figure)) return &verdict;
  }
  return nullptr;
}

View or_nothing(std::string text) { return text.empty() ? View(false) : View(std::move(text)); }

std::string interval_or_dash(const std::optional<analysis::Interval>& interval,
                             std::string_view unit) {
  return interval ? interval_text(*interval, unit) : "–";
}

View page_view(const analysis::Results& results) {
  const journal::RigFacts& rig = results.header.rig;
  View devices = View::array();
  for (std::size_t i = 0; i < results.devices.size(); ++i) {
    devices.push_back(device_view(results, i));
  }
  View verdicts = View::array();
  for (const Verdict& verdict : results.verdicts) verdicts.push_back(verdict_view(verdict));
  return {{"scenario", results.scenario_name},
          {"started", or_nothing(started_text(results))},
          {"mark", analysis::to_text(results.overall)},
          {"word", mark_word(results.overall)},
          {"headline", headline_beside_mark(results)},
          {"simulated", rig.simulated},
          {"lifted", results.header.lifted},
          {"may_stop_early", results.may_stop_early},
          {"notices", notices(results)},
          {"surface", rig.surface},
          {"spot", rig.spot},
          {"mounting", rig.mounting},
          {"key_groups", key_figures(results)},
          {"many_devices", results.devices.size() > 1},
          {"verdicts", verdicts},
          {"any_verdicts", !verdicts.empty()},
          {"devices", devices},
          {"surface_found", surface_view(results)},
          {"soak", soak_view(results)},
          {"course", course_view(results)},
          {"any_course", !course_view(results).empty()},
          {"waveforms", results.waveforms_reading.has_value()},
          {"timeline", timeline_view(results)},
          {"findings", findings_view(results)},
          {"strike_unit", strike_unit(results)},
          {"setting", setting_view(results)}};
}

}  // namespace plexor::report
