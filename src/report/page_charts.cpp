#include <cmath>
#include <cstdlib>

#include <fmt/format.h>

#include "report/format.hpp"
#include "report/page_view.hpp"
#include "report/text.hpp"

namespace plexor::report {

View plotted(double value) {
  if (!std::isfinite(value)) return nullptr;
  return std::strtod(fmt::format("{:.6g}", value).c_str(), nullptr);
}

namespace {

/// [low, estimate, high] as shares; null where there were no trials. Where the run stopped early
/// there is no interval, and no whisker.
View share_with_interval(const analysis::Proportion& proportion) {
  if (!proportion.estimate) return nullptr;
  if (!proportion.wilson) {
    const View estimate = plotted(*proportion.estimate);
    return {estimate, estimate, estimate};
  }
  return {plotted(proportion.wilson->lower), plotted(*proportion.estimate),
          plotted(proportion.wilson->upper)};
}

View detection(const analysis::Results& results, const analysis::DeviceResult& device) {
  View rows = View::array();
  for (const analysis::RhythmResult& rhythm : device.rhythms) {
    rows.push_back({{"name", printable_line(rhythm.rhythm)},
                    {"distractor", rhythm.expects.empty()},
                    {"n", rhythm.correct.n},
                    {"share", share_with_interval(rhythm.correct)}});
  }
  const analysis::Verdict* verdict = find_verdict(results, device.name, detection_figure);
  return {{"rows", rows},
          {"limit", verdict ? plotted(verdict->limit) : View(nullptr)},
          {"limit_name", verdict && verdict->sequential ? "bad" : "limit"}};
}

/// The quantile that "latency p95" names, as a share; null for other figures.
View quantile_named(const std::string& figure) {
  const std::size_t p = figure.find(" p");
  if (p == std::string::npos) return nullptr;
  const double percent = std::strtod(figure.c_str() + p + 2, nullptr);
  return percent > 0.0 && percent < 100.0 ? plotted(percent / 100.0) : View(nullptr);
}

View latency(const analysis::Results& results, const analysis::DeviceResult& device) {
  View bins = View::array();
  for (const analysis::LatencyBin& bin : device.latency.histogram) {
    bins.push_back({plotted(bin.from_ms), plotted(bin.to_ms), bin.count});
  }
  View ecdf = View::array();
  for (const auto& [ms, share] : device.latency.ecdf) {
    ecdf.push_back({plotted(ms), plotted(share)});
  }
  View limits = View::array();
  for (const analysis::Verdict& verdict : results.verdicts) {
    if (verdict.device != device.name || !verdict.figure.starts_with(latency_figure)) continue;
    limits.push_back({{"ms", plotted(verdict.limit)},
                      {"share", quantile_named(verdict.figure)},
                      {"text", printable_line(verdict.figure.substr(latency_figure.size())) + " " +
                                   limit_text(verdict)}});
  }
  return {{"bins", bins}, {"ecdf", ecdf}, {"limits", limits}};
}

View strength(const analysis::DeviceResult& device) {
  View bins = View::array();
  for (const analysis::StrengthBin& bin : device.strength) {
    bins.push_back({{"from", plotted(bin.from_m_s)},
                    {"to", plotted(bin.to_m_s)},
                    {"n", bin.detected.n},
                    {"share", share_with_interval(bin.detected)}});
  }
  return bins;
}

View findings(const analysis::Results& results) {
  View points = View::array();
  for (std::size_t i = 0; i < results.findings.size(); ++i) {
    const analysis::Finding& finding = results.findings[i];
    points.push_back({plotted(finding.run_s), printable_line(finding.what), i + 1});
  }
  return points;
}

View timeline(const analysis::Results& results) {
  View bins = View::array();
  for (const analysis::TimelineBin& bin : results.timeline) {
    bins.push_back({plotted(bin.from_s), plotted(bin.to_s), bin.trials, bin.wrong, bin.alarms});
  }
  return bins;
}

}  // namespace

View chart_data(const analysis::Results& results) {
  View devices = View::array();
  for (const analysis::DeviceResult& device : results.devices) {
    devices.push_back({{"detection", detection(results, device)},
                       {"latency", latency(results, device)},
                       {"strength", strength(device)}});
  }
  return {{"devices", devices},
          {"strike_unit", strike_unit(results)},
          {"surface", surface_charts(results)},
          {"soak", soak_charts(results)},
          {"timeline", timeline(results)},
          {"findings", findings(results)}};
}

}  // namespace plexor::report
