#include "analysis/history/figures_of.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/uuid/name_generator_sha1.hpp>
#include <boost/uuid/uuid_io.hpp>
#include <chrono>
#include <cmath>
#include <numeric>

#include "base/calendar.hpp"

namespace plexor::analysis {
namespace {

/// Of a kind that no other program makes: RFC 4122's name-based UUIDs within a space of our own.
std::string made_id(const Results& results) {
  using boost::uuids::name_generator_sha1;
  const journal::Header& header = results.header;
  const journal::Host host = results.host.value_or(journal::Host{});
  const name_generator_sha1 of_plexor(
      name_generator_sha1(boost::uuids::ns::url())("urn:plexor:run"));
  // Each text with its length: no two lists of texts read alike.
  std::string name = fmt::format("{} {} {}", header.seed, header.lifted ? 1 : 0, header.format);
  for (const std::string& text :
       {header.plexor_version, header.scenario_text, header.rig_text, header.calibration_text,
        host.started_utc, host.host_name, host.system}) {
    name += fmt::format("\n{} {}", text.size(), text);
  }
  return to_string(of_plexor(name));
}

std::optional<base::WallTime> start_of(const Results& results) {
  if (const auto by_clock = results.clock.first()) return by_clock;
  if (!results.host) return std::nullopt;
  const auto by_host = base::moment_of(results.host->started_utc);
  if (!by_host) return std::nullopt;
  return base::WallTime{.unix_ns = std::chrono::nanoseconds(by_host->time_since_epoch()).count()};
}

std::optional<double> percentile(const Latency& latency, double p) {
  const auto found = std::ranges::find_if(
      latency.percentiles, [p](const Percentile& one) { return std::abs(one.p - p) < 1e-9; });
  return found == latency.percentiles.end() ? std::nullopt : found->ms;
}

std::optional<double> z_of(const Results& results, const std::string& device,
                           std::string_view figure) {
  if (!results.soak) return std::nullopt;
  for (const Drift& drift : results.soak->drifts) {
    if (drift.device == device && drift.figure == figure) return drift.z;
  }
  return std::nullopt;
}

DeviceFigures device_figures(const Results& results, const DeviceResult& device) {
  return {.name = device.name,
          .release = device.version,
          .detected = {device.detection.x, device.detection.n},
          .false_responses = {device.false_responses.x, device.false_responses.n},
          .confused = {device.confusions.x, device.confusions.n},
          .incidents = device.false_alarms.incidents,
          .quiet_hours = device.false_alarms.hours,
          .disturbed_incidents = device.disturbed_incidents,
          .median_ms = percentile(device.latency, 0.5),
          .p95_ms = percentile(device.latency, 0.95),
          .power_cycles = device.power_cycles,
          .unheard_s = device.unheard_s,
          .by_hour = device.by_hour_of_day,
          .alarms_z = z_of(results, device.name, alarms_drift),
          .detection_z = z_of(results, device.name, detection_drift)};
}

void put_setting(RunFigures& figures, const Results& results) {
  const journal::Header& header = results.header;
  figures.plexor_version = header.plexor_version;
  figures.scenario = results.scenario_name;
  figures.purpose = results.purpose;
  figures.seed = header.seed;
  figures.lifted = header.lifted;
  figures.simulated = header.rig.simulated;
  figures.rig = header.rig.name;
  figures.surface = header.rig.surface;
  figures.spot = header.rig.spot;
  figures.mounting = header.rig.mounting;
}

}  // namespace

RunFigures figures_of(const Results& results) {
  RunFigures figures;
  put_setting(figures, results);
  figures.run_id =
      results.host && !results.host->run_id.empty() ? results.host->run_id : made_id(results);
  if (const auto start = start_of(results)) {
    figures.started_ns = start->unix_ns;
    figures.utc_offset_s = start->utc_offset_s;
    figures.night = base::date_text(start->night());
  }
  if (results.ended) {
    figures.ended = journal::to_text(results.ended->reason);
    figures.detail = results.ended->detail;
  }
  figures.judged = to_text(results.overall);
  figures.headline = results.headline;
  figures.duration_s = results.duration_s;
  figures.trials = results.trials_valid;
  figures.voids = std::accumulate(results.voids.begin(), results.voids.end(), std::uint64_t{0});
  figures.holes = results.holes;
  figures.transit_ms = results.tapper.transit_ms;
  figures.transit_sd_ms = results.tapper.transit_sd_ms;
  figures.coil_c = results.tapper.coil_c;
  for (const DeviceResult& device : results.devices) {
    figures.devices.push_back(device_figures(results, device));
  }
  return figures;
}

}  // namespace plexor::analysis
