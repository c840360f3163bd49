#include "report/surfaces.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>

#include "base/error.hpp"
#include "report/json_surface.hpp"
#include "report/layout.hpp"
#include "report/surface_text.hpp"
#include "report/text.hpp"

namespace plexor::report {

namespace {

using analysis::ChannelSignal;
using analysis::Results;

const ChannelSignal* channel_of(const Results& results, std::size_t device) {
  const auto found = std::find_if(
      results.channels.begin(), results.channels.end(), [&](const ChannelSignal& channel) {
        return results.header.rig.channels[channel.channel].device.value_or(device) == device;
      });
  return found == results.channels.end() ? nullptr : &*found;
}

void put_strength(SurfaceRow& row, const analysis::StrengthResponse& response,
                  const journal::RigFacts& rig) {
  const std::string_view unit = rig.calibrated ? "m/s" : "";
  const auto at = [&](const std::optional<analysis::StrengthAtShare>& share, std::string& strike,
                      std::string& interval) {
    const bool known = share && share->strength;
    strike = known ? strike_text(*share->strength, unit) : "–";
    interval = known ? strike_interval_text(share->profile, unit) : "–";
  };
  at(response.s50, row.half, row.half_interval);
  at(response.s95, row.most, row.most_interval);
  row.energy = response.s50 && response.s50->strength ? energy_text(*response.s50->strength, rig)
                                                      : std::string("–");
}

void put_signal(SurfaceRow& row, const ChannelSignal& channel, std::uint32_t spot,
                std::string_view unit) {
  for (const analysis::SpotSignal& one : channel.spots) {
    if (one.spot != spot) continue;
    if (one.signal.strength) {
      row.peak = fmt::format("{:.0f} {}", one.signal.strength->peak_at(channel.softest_m_s), unit);
    }
    if (!one.signal.lines.empty()) row.lines = fmt::format("{:.0f} Hz", one.signal.lines[0].hz);
    for (const analysis::RingDownQuantile& quantile : one.signal.ring_down) {
      if (quantile.p == 0.95 && quantile.seconds) {
        row.decay = fmt::format("{:.0f} ms", *quantile.seconds * 1e3);
      }
    }
  }
  const analysis::TriggerAdvice& advice = channel.advice;
  if (advice.chosen) row.threshold = fmt::format("{:.0f} {}", advice.chosen->threshold, unit);
  if (!advice.lockout) return;
  row.lockout = fmt::format("{:.0f} ms", advice.lockout->seconds * 1e3);
  row.shortest_interval = fmt::format("{:.0f} ms", advice.lockout->shortest_interval_s * 1e3);
}

SurfaceRow row_of(const Results& results, std::size_t device,
                  const analysis::StrengthCurve& curve) {
  const journal::RigFacts& rig = results.header.rig;
  const analysis::DeviceResult& heard = results.devices[device];
  SurfaceRow row{.surface = rig.surface,
                 .spot = spot_name(results, curve.spot),
                 .device = heard.version.empty() ? heard.name : heard.name + " " + heard.version,
                 .rhythm = curve.rhythm,
                 .half = {},
                 .half_interval = {},
                 .most = {},
                 .most_interval = {},
                 .energy = {},
                 .peak = "–",
                 .lines = "–",
                 .decay = "–",
                 .threshold = "–",
                 .lockout = "–",
                 .shortest_interval = "–"};
  put_strength(row, curve.response, rig);
  if (const ChannelSignal* channel = channel_of(results, device)) {
    put_signal(row, *channel, curve.spot, rig.channels[channel->channel].unit);
  }
  return row;
}

}  // namespace

std::vector<SurfaceRow> surface_rows(std::span<const Results> runs) {
  std::vector<SurfaceRow> rows;
  for (const Results& run : runs) {
    const std::size_t before = rows.size();
    for (std::size_t device = 0; device < run.devices.size(); ++device) {
      for (const analysis::StrengthCurve& curve : run.devices[device].curves) {
        rows.push_back(row_of(run, device, curve));
      }
    }
    if (rows.size() > before) continue;
    throw base::InputError(
        {run.header.scenario_file, 0, 0},
        fmt::format("a run of \"{}\" without strength curves", run.scenario_name),
        "runs of scenarios with purpose = \"surface\" that expect an event", "leave it out");
  }
  return rows;
}

std::string surfaces_text(std::span<const SurfaceRow> rows) {
  std::vector<std::vector<std::string>> strengths{{"surface", "rhythm", "half heard at",
                                                   "95 % interval", "energy", "95 % at",
                                                   "95 % interval"}};
  std::vector<std::vector<std::string>> signals{{"surface", "spot", "peak", "strongest line",
                                                 "ring-down", "threshold", "lockout",
                                                 "shortest interval"}};
  for (const SurfaceRow& row : rows) {
    strengths.push_back({printable_line(row.surface), printable_line(row.rhythm), row.half,
                         row.half_interval, row.energy, row.most, row.most_interval});
    signals.push_back({printable_line(row.surface), printable_line(row.spot), row.peak, row.lines,
                       row.decay, row.threshold, row.lockout, row.shortest_interval});
  }
  return "How hard one must knock\n" + table(strengths) +
         "\nHow it rings, and what a detector should have\n" + table(signals);
}

std::string surfaces_json(std::span<const Results> runs) {
  nlohmann::ordered_json list = nlohmann::ordered_json::array();
  for (const Results& run : runs) {
    nlohmann::ordered_json devices = nlohmann::ordered_json::array();
    for (const analysis::DeviceResult& device : run.devices) {
      devices.push_back({{"name", device.name},
                         {"version", device.version},
                         {"curves", curves_json(run, device)}});
    }
    list.push_back({{"surface", run.header.rig.surface},
                    {"mounting", run.header.rig.mounting},
                    {"simulated", run.header.rig.simulated},
                    {"devices", devices},
                    {"channels", channels_json(run)}});
  }
  const nlohmann::ordered_json root{{"format", 1}, {"surfaces", list}};
  return root.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
}

}  // namespace plexor::report
