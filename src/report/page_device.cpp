#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "report/format.hpp"
#include "report/page_view.hpp"

namespace plexor::report {

namespace {

using analysis::DeviceResult;
using analysis::RhythmResult;

std::uint64_t outcome_count(const RhythmResult& rhythm, base::Outcome outcome) {
  return rhythm.outcomes[static_cast<std::size_t>(outcome)];
}

std::string detection_title(const DeviceResult& device) {
  const RhythmResult* weakest = nullptr;
  for (const RhythmResult& rhythm : device.rhythms) {
    if (rhythm.expects.empty() || !rhythm.correct.estimate) continue;
    if (!weakest || *rhythm.correct.estimate < *weakest->correct.estimate) weakest = &rhythm;
  }
  if (!weakest) return "No rhythm was presented that expects an event";
  if (*weakest->correct.estimate >= 1.0) return "Every rhythm was detected every time";
  const bool only = std::count_if(device.rhythms.begin(), device.rhythms.end(), [](const auto& r) {
                      return !r.expects.empty() && r.correct.estimate;
                    }) == 1;
  return fmt::format("{}{}: {} detected", only ? "" : "Weakest rhythm, ", weakest->rhythm,
                     share_text(weakest->correct));
}

View rhythm_row(const RhythmResult& rhythm) {
  const auto outcome = [&](base::Outcome one) { return count(outcome_count(rhythm, one)); };
  return {{"rhythm", rhythm.rhythm},
          {"distractor", rhythm.expects.empty()},
          {"expects", or_nothing(rhythm.expects)},
          {"correct", share_text(rhythm.correct)},
          {"interval", interval_or_dash(rhythm.correct.wilson, "")},
          {"n", count(rhythm.correct.n)},
          {"right", count(rhythm.correct.x)},
          {"miss", outcome(base::Outcome::miss)},
          {"early", outcome(base::Outcome::early)},
          {"late", outcome(base::Outcome::late)},
          {"confusion", outcome(base::Outcome::confusion)},
          {"false_response", outcome(base::Outcome::false_response)},
          {"duplicates", count(rhythm.duplicates)},
          {"median", rhythm.median_ms ? quantity(*rhythm.median_ms, "ms") : "–"}};
}

std::string confusion_title(const DeviceResult& device) {
  const std::uint64_t mistaken = device.confusions.x;
  std::string title =
      mistaken == 0 ? std::string("No rhythm was taken for another")
                    : fmt::format("{} of {} knocks taken for another rhythm ({})", count(mistaken),
                                  count(device.confusions.n), share_text(device.confusions));
  if (device.false_responses.n > 0) {
    title += fmt::format("; {} of {} distractors answered", count(device.false_responses.x),
                         count(device.false_responses.n));
  }
  return title;
}

View confusion_row(const DeviceResult& device, std::size_t index) {
  const RhythmResult& rhythm = device.rhythms[index];
  const std::vector<std::uint64_t>& counts = device.confusion[index];
  std::uint64_t total = 0;
  for (const std::uint64_t one : counts) total += one;
  View cells = View::array();
  for (std::size_t column = 0; column < counts.size(); ++column) {
    const double share =
        total == 0 ? 0.0 : static_cast<double>(counts[column]) / static_cast<double>(total);
    cells.push_back({{"count", count(counts[column])},
                     {"share", total == 0 ? "" : quantity(share, "")},
                     {"shade", fmt::format("{:.3f}", share)},
                     {"right", device.heard_names[column] == rhythm.expects},
                     {"none", counts[column] == 0}});
  }
  return {{"rhythm", rhythm.rhythm},
          {"distractor", rhythm.expects.empty()},
          {"n", count(total)},
          {"cells", cells}};
}

View confusion_view(const DeviceResult& device) {
  View heads = View::array();
  for (const std::string& name : device.heard_names) {
    heads.push_back({{"name", or_nothing(name)}});
  }
  View rows = View::array();
  for (std::size_t i = 0; i < device.rhythms.size(); ++i) rows.push_back(confusion_row(device, i));
  return {{"title", confusion_title(device)}, {"heads", heads}, {"rows", rows}};
}

const analysis::Percentile* percentile(const std::vector<analysis::Percentile>& list, double p) {
  const auto found = std::find_if(list.begin(), list.end(), [p](const analysis::Percentile& one) {
    return std::abs(one.p - p) < 1e-9;
  });
  return found == list.end() ? nullptr : &*found;
}

std::string percentile_text(const analysis::Percentile* one) {
  return one && one->ms ? quantity(*one->ms, "ms") : "–";
}

std::string histogram_title(const analysis::Latency& latency) {
  const analysis::Percentile* median = percentile(latency.heard_percentiles, 0.5);
  if (!median || !median->ms) return "No knock was answered in time";
  return "Half of the answers came within " + quantity(*median->ms, "ms");
}

std::string ecdf_title(const analysis::Latency& latency) {
  const analysis::Percentile* p95 = percentile(latency.percentiles, 0.95);
  if (!p95 || !p95->ms) return "Share of trials answered by then";
  if (std::isinf(*p95->ms)) {
    return fmt::format("Only {} of {} trials were answered in time", count(latency.heard),
                       count(latency.n));
  }
  return "95 % of all trials were answered within " + quantity(*p95->ms, "ms");
}

View percentile_rows(const analysis::Latency& latency) {
  View rows = View::array();
  for (const analysis::Percentile& one : latency.percentiles) {
    const analysis::Percentile* heard = percentile(latency.heard_percentiles, one.p);
    rows.push_back({{"p", trimmed(100.0 * one.p, 3) + " %"},
                    {"all", percentile_text(&one)},
                    {"interval", interval_or_dash(one.interval, "ms")},
                    {"heard", percentile_text(heard)}});
  }
  return rows;
}

View bin_rows(const analysis::Latency& latency) {
  View rows = View::array();
  std::uint64_t so_far = 0;
  for (const analysis::LatencyBin& bin : latency.histogram) {
    so_far += bin.count;
    const double share = static_cast<double>(so_far) / static_cast<double>(latency.n);
    rows.push_back({{"from", trimmed(bin.from_ms, 3)},
                    {"to", trimmed(bin.to_ms, 3)},
                    {"count", count(bin.count)},
                    {"by_then", quantity(share, "")}});
  }
  return rows;
}

std::string known_part(double ms) { return ms > 0.0 ? quantity(ms, "ms") : "not known"; }

View latency_view(const DeviceResult& device) {
  const analysis::Latency& latency = device.latency;
  return {{"uncertainty", uncertainty_text(device.listeners.front().latency_budget)},
          {"histogram_title", histogram_title(latency)},
          {"ecdf_title", ecdf_title(latency)},
          {"n", count(latency.n)},
          {"heard", count(latency.heard)},
          {"any_heard", latency.heard > 0},
          {"unanswered", count(latency.n - latency.heard)},
          {"line_time", known_part(latency.line_time_ms)},
          {"end_gap", known_part(latency.pattern_end_gap_ms)},
          {"percentiles", percentile_rows(latency)},
          {"bins", bin_rows(latency)}};
}

std::string bin_text(const analysis::StrengthBin& bin, std::string_view unit) {
  return fmt::format("{} to {} {}", trimmed(bin.from_m_s, 3), trimmed(bin.to_m_s, 3), unit);
}

/// Compares the softest and the hardest bin with enough trials to say something.
std::string strength_title(const std::vector<const analysis::StrengthBin*>& bins,
                           std::string_view unit) {
  const auto has_enough = [](const auto* bin) {
    return bin->detected.n >= 20 && bin->detected.wilson;  // none where the run stopped early
  };
  const auto softest = std::find_if(bins.begin(), bins.end(), has_enough);
  const auto hardest = std::find_if(bins.rbegin(), bins.rend(), has_enough);
  if (softest == bins.end() || *softest == *hardest) return "Detection by strength";
  const auto& soft = *(*softest)->detected.wilson;
  const auto& hard = *(*hardest)->detected.wilson;
  if (soft.lower <= hard.upper && hard.lower <= soft.upper) {
    return "No difference to be seen between soft and hard knocks";
  }
  return fmt::format("{} detected at {}, {} at {}", share_text((*softest)->detected),
                     bin_text(**softest, unit), share_text((*hardest)->detected),
                     bin_text(**hardest, unit));
}

View strength_view(const DeviceResult& device, std::string_view unit) {
  std::vector<const analysis::StrengthBin*> bins;
  std::uint64_t n = 0;
  for (const analysis::StrengthBin& bin : device.strength) {
    if (bin.detected.n > 0) bins.push_back(&bin);
    n += bin.detected.n;
  }
  View rows = View::array();
  for (const analysis::StrengthBin* bin : bins) {
    rows.push_back({{"range", bin_text(*bin, unit)},
                    {"detected", share_text(bin->detected)},
                    {"interval", interval_or_dash(bin->detected.wilson, "")},
                    {"x", count(bin->detected.x)},
                    {"n", count(bin->detected.n)}});
  }
  return {{"title", strength_title(bins, unit)},
          {"rows", rows},
          {"any", !bins.empty() && device.curves.empty()},  // curves say the same, and more
          {"n", count(n)}};
}

View alarm_view(const DeviceResult& device) {
  const analysis::AlarmRate& alarms = device.false_alarms;
  const bool by_hours = alarms.scatter && alarms.scatter->by_hours;
  return {{"rate", alarms.per_hour ? quantity(*alarms.per_hour, "/h") : "not measured"},
          {"interval", interval_or_dash(alarms.shown(), "/h")},
          {"method", by_hours ? "by hour blocks" : "Garwood"},
          {"incidents", count(alarms.incidents)},
          {"hours", trimmed(alarms.hours, 3)}};
}

}  // namespace

View device_view(const analysis::Results& results, std::size_t index) {
  const DeviceResult& device = results.devices[index];
  View rhythms = View::array();
  for (const RhythmResult& rhythm : device.rhythms) rhythms.push_back(rhythm_row(rhythm));
  return {{"index", std::to_string(index)},
          {"name", device.name},
          {"version", or_nothing(device.version)},
          {"n", count(device.detection.n)},
          {"presented", count(device.detection.n + device.false_responses.n)},
          {"remarks", View(device.remarks)},
          {"detection_title", detection_title(device)},
          {"rhythms", rhythms},
          {"confusion", confusion_view(device)},
          {"latency", latency_view(device)},
          {"listeners", listeners_view(device)},
          {"strength", strength_view(device, strike_unit(results))},
          {"alarms", alarm_view(device)},
          {"gap_alarms", count(device.gap_alarms)},
          {"duplicates", count(device.duplicates)},
          {"false_responses", share_text(device.false_responses)},
          {"false_responses_interval", interval_or_dash(device.false_responses.wilson, "")},
          {"false_responses_n", count(device.false_responses.n)},
          {"d_prime", device.d_prime ? View(trimmed(*device.d_prime, 2)) : View(false)}};
}

}  // namespace plexor::report
