#include "report/json.hpp"

#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>
#include <optional>
#include <string_view>

#include "report/format.hpp"
#include "report/json_soak.hpp"
#include "report/json_surface.hpp"
#include "report/json_values.hpp"
#include "report/soak_text.hpp"

namespace plexor::report {

namespace {

using Json = nlohmann::ordered_json;
Json numbers(const std::vector<double>& values) {
  Json list = Json::array();
  for (const double value : values) list.push_back(number(value));
  return list;
}

Json run(const analysis::Results& results) {
  const journal::Header& header = results.header;
  Json ended = nullptr;
  if (results.ended) {
    ended = {{"reason", journal::to_text(results.ended->reason)},
             {"detail", results.ended->detail},
             {"at_s", number(base::to_s(results.ended->at - base::segment_start))}};
  }
  Json host = nullptr;
  if (results.host) {
    host = {{"started_utc", results.host->started_utc},
            {"name", results.host->host_name},
            {"system", results.host->system},
            {"scheduling", text_or_null(results.host->scheduling)},
            {"run_id", text_or_null(results.host->run_id)}};
  }
  return {{"scenario", results.scenario_name},
          {"purpose", results.purpose},
          {"scenario_file", header.scenario_file},
          {"rig_file", header.rig_file},
          {"seed", header.seed},
          {"lifted", header.lifted},
          {"live", results.is_live},
          {"duration_s", number(results.duration_s)},
          {"quiet_h", number(results.quiet_hours)},
          {"ended", ended},
          {"host", host}};
}

Json rig(const journal::RigFacts& facts) {
  Json devices = Json::array();
  for (const journal::DeviceFacts& device : facts.devices) {
    devices.push_back({{"name", device.name},
                       {"version", device.version},
                       {"line_time_ms", number(base::to_ms(device.line_time))},
                       {"pattern_end_gap_ms", number(base::to_ms(device.pattern_end_gap))}});
  }
  return {{"name", facts.name},
          {"simulated", facts.simulated},
          {"calibrated", facts.calibrated},
          {"calibration_date", text_or_null(facts.calibration_date)},
          {"contact_sensed", facts.contact_sensed},
          {"transit_sd_ms", number(base::to_ms(facts.transit_sd))},
          {"surface", facts.surface},
          {"spot", facts.spot},
          {"mounting", facts.mounting},
          {"devices", devices}};
}

Json trials(const analysis::Results& results) {
  Json voids = Json::object();
  for (const base::VoidReason reason : base::all_void_reasons) {
    voids[std::string(base::to_text(reason))] = results.voids[static_cast<std::size_t>(reason)];
  }
  return {{"planned", results.trials_planned},
          {"valid", results.trials_valid},
          {"spared", results.trials_spared},
          {"void_share", number(results.void_fraction)},
          {"void_share_at_most", number(results.max_void_fraction)},
          {"voids", voids}};
}

Json sequential(const std::optional<analysis::SequentialVerdict>& test) {
  if (!test) return nullptr;
  return {{"good", number(test->good)},
          {"bad", number(test->bad)},
          {"alpha", number(test->alpha)},
          {"beta", number(test->beta)},
          {"within_ms", test->within_ms > 0.0 ? number(test->within_ms) : Json(nullptr)},
          {"at_most", number(test->at_most)},
          {"used", number(test->used)},
          {"failures", test->failures}};
}

Json verdict(const analysis::Verdict& value) {
  Json object = {{"device", value.device},
                 {"figure", value.figure},
                 {"unit", unit_key(value.unit)},
                 {"side", value.at_least ? "at-least" : "at-most"},
                 {"limit", number(value.limit)},
                 {"estimate", optional_number(value.estimate)},
                 {"estimate_beyond", estimate_is_beyond(value)},
                 {"interval", interval_json(value.interval, "")},
                 {"n", value.n},
                 {"judgement", analysis::to_text(value.judgement)}};
  object["more_needed"] = value.more_needed ? Json(*value.more_needed) : Json(nullptr);
  object["sequential"] = sequential(value.sequential);
  object["reason"] = value.reason;
  return object;
}

Json rhythm(const analysis::RhythmResult& value) {
  Json outcomes = Json::object();
  for (const base::Outcome outcome : base::all_outcomes) {
    outcomes[std::string(base::to_text(outcome))] =
        value.outcomes[static_cast<std::size_t>(outcome)];
  }
  return {{"rhythm", value.rhythm},
          {"expects", text_or_null(value.expects)},
          {"outcomes", outcomes},
          {"correct", proportion_json(value.correct)},
          {"duplicates", value.duplicates},
          {"median_ms", optional_number(value.median_ms)},
          {"median_interval", interval_json(value.median_interval, "_ms")}};
}

Json percentiles(const std::vector<analysis::Percentile>& values) {
  Json list = Json::array();
  for (const analysis::Percentile& value : values) {
    Json object = {{"p", number(value.p)}};
    object["ms"] = optional_number(value.ms);
    object["beyond"] = value.ms.has_value() && std::isinf(*value.ms);
    object["interval"] = interval_json(value.interval, "_ms");
    list.push_back(std::move(object));
  }
  return list;
}

Json latency(const analysis::Latency& value) {
  Json histogram = Json::array();
  for (const analysis::LatencyBin& bin : value.histogram) {
    histogram.push_back(
        {{"from_ms", number(bin.from_ms)}, {"to_ms", number(bin.to_ms)}, {"count", bin.count}});
  }
  Json ecdf = Json::array();
  for (const auto& [ms, share] : value.ecdf) {
    ecdf.push_back({{"ms", number(ms)}, {"share", number(share)}});
  }
  return {{"n", value.n},
          {"heard", value.heard},
          {"percentiles", percentiles(value.percentiles)},
          {"heard_percentiles", percentiles(value.heard_percentiles)},
          {"histogram", histogram},
          {"ecdf", ecdf},
          {"line_time_ms", number(value.line_time_ms)},
          {"pattern_end_gap_ms", number(value.pattern_end_gap_ms)}};
}

Json beside(const std::optional<analysis::Beside>& value) {
  if (!value) return nullptr;
  return {{"both", value->both},
          {"only_here", value->only_here},
          {"only_first", value->only_first},
          {"later_ms", optional_number(value->later.ms)},
          {"later_interval", interval_json(value->later.interval, "_ms")}};
}

Json uncertainty(const analysis::Budget& value) {
  Json contributions = Json::array();
  for (const analysis::Contribution& one : value.contributions) {
    contributions.push_back({{"source", one.source}, {"u_ms", number(one.u)}});
  }
  return {{"combined_ms", number(value.combined())}, {"contributions", contributions}};
}

Json rhythms(const std::vector<analysis::RhythmResult>& values) {
  Json list = Json::array();
  for (const analysis::RhythmResult& one : values) list.push_back(rhythm(one));
  return list;
}

Json listener(const analysis::ListenerResult& value) {
  return {{"name", text_or_null(value.name)},
          {"place", text_or_null(value.place)},
          {"uncertainty", uncertainty(value.latency_budget)},
          {"detection", proportion_json(value.detection)},
          {"rhythms", rhythms(value.rhythms)},
          {"latency", latency(value.latency)},
          {"false_alarms", alarms_json(value.false_alarms)},
          {"beside", beside(value.beside)}};
}

/// The same numbers are metres per second only on a calibrated rig.
std::string strike_key(bool calibrated, const std::string& part) {
  return part + (calibrated ? "_m_s" : "_drive");
}

Json strength(const std::vector<analysis::StrengthBin>& bins, bool calibrated) {
  Json list = Json::array();
  for (const analysis::StrengthBin& bin : bins) {
    list.push_back({{strike_key(calibrated, "from"), number(bin.from_m_s)},
                    {strike_key(calibrated, "to"), number(bin.to_m_s)},
                    {"detected", proportion_json(bin.detected)}});
  }
  return list;
}

Json confusion(const analysis::DeviceResult& value) {
  Json presented = Json::array();
  for (const analysis::RhythmResult& one : value.rhythms) presented.push_back(one.rhythm);
  return {{"presented", presented}, {"heard", value.heard_names}, {"counts", value.confusion}};
}

Json device(const analysis::Results& results, const analysis::DeviceResult& value) {
  const bool calibrated = results.header.rig.calibrated;
  Json listeners = Json::array();
  for (const analysis::ListenerResult& one : value.listeners) listeners.push_back(listener(one));
  return {{"name", value.name},
          {"version", value.version},
          {"detection", proportion_json(value.detection)},
          {"false_responses", proportion_json(value.false_responses)},
          {"confusions", proportion_json(value.confusions)},
          {"remarks", value.remarks},
          {"d_prime", optional_number(value.d_prime)},
          {"false_alarms", alarms_json(value.false_alarms)},
          {"disturbed_incidents", value.disturbed_incidents},
          {"by_hour_of_day", hours_of_day_json(results, value)},
          {"power_cycles", value.power_cycles},
          {"unheard_s", number(value.unheard_s)},
          {"gap_alarms", value.gap_alarms},
          {"duplicates", value.duplicates},
          {"rhythms", rhythms(value.rhythms)},
          {"confusion", confusion(value)},
          {"latency", latency(value.latency)},
          {"strength", strength(value.strength, calibrated)},
          {"curves", curves_json(results, value)},
          {"listeners", listeners}};
}

Json finding(const analysis::Finding& value, bool calibrated) {
  return {{"segment", value.segment},
          {"at_s", number(base::to_s(value.at - base::segment_start))},
          {"run_s", number(value.run_s)},
          {"device", value.device},
          {"what", value.what},
          {"trial",
           {{"block", value.trial.block},
            {"number", value.trial.number},
            {"attempt", value.trial.attempt}}},
          {"rhythm", text_or_null(value.rhythm)},
          {"commanded_ms", numbers(value.commanded_ms)},
          {strike_key(calibrated, "strike"), numbers(value.strike_m_s)},
          {"measured_ms", numbers(value.measured_ms)},
          {"heard", text_or_null(value.heard)},
          {"latency_ms", optional_number(value.latency_ms)},
          {"duplicates", value.duplicates}};
}

Json timeline(const std::vector<analysis::TimelineBin>& bins) {
  Json list = Json::array();
  for (const analysis::TimelineBin& bin : bins) {
    list.push_back({{"from_s", number(bin.from_s)},
                    {"to_s", number(bin.to_s)},
                    {"answers", bin.trials},
                    {"wrong", bin.wrong},
                    {"alarms", bin.alarms}});
  }
  return list;
}

Json reading(const journal::ReadSummary& value) {
  Json damages = Json::array();
  for (const journal::Damage& one : value.damages) {
    damages.push_back({{"line", one.line},
                       {"offset", one.offset},
                       {"bytes", one.bytes},
                       {"torn_tail", one.torn_tail},
                       {"what", one.what}});
  }
  return {{"records", value.records},
          {"bytes", value.bytes},
          {"damage_count", value.damage_count},
          {"damages", damages}};
}

}  // namespace

std::string results_json(const analysis::Results& results) {
  const bool calibrated = results.header.rig.calibrated;
  Json verdicts = Json::array();
  for (const analysis::Verdict& one : results.verdicts) verdicts.push_back(verdict(one));
  Json devices = Json::array();
  for (const analysis::DeviceResult& one : results.devices) {
    devices.push_back(device(results, one));
  }
  Json findings = Json::array();
  for (const analysis::Finding& one : results.findings)
    findings.push_back(finding(one, calibrated));
  Json root = {{"format", results_format},
               {"plexor_version", results.header.plexor_version},
               {"overall", analysis::to_text(results.overall)},
               {"headline", results.headline},
               {"run", run(results)},
               {"rig", rig(results.header.rig)},
               {"trials", trials(results)},
               {"verdicts", verdicts},
               {"devices", devices},
               {"channels", channels_json(results)},
               {"findings_total", results.findings_total},
               {"findings", findings},
               {"timeline", timeline(results.timeline)},
               {"holes", holes_json(results)},
               {"disturbances", disturbances_json(results)},
               {"power_cycles", power_cycles_json(results)},
               {"tapper", tapper_json(results)},
               {"soak", soak_json(results)},
               {"journal", reading(results.reading)}};
  return root.dump(2, ' ', false, Json::error_handler_t::replace) + "\n";
}

}  // namespace plexor::report
