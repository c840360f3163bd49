#include "virtual/simulation.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "base/toml_reader.hpp"

namespace plexor::virtual_rig {

namespace {

using base::TableReader;
using namespace std::chrono_literals;

constexpr std::int64_t nanoseconds_per_second = 1'000'000'000;
// Keeps the firmware's sums of squares inside 64 bits (see PeakDetector).
constexpr std::int64_t longest_window = 1024;
constexpr int most_bits = 16;

TapperSettings read_tapper(TableReader in, const rig::Calibration& calibration) {
  TapperSettings tapper;
  tapper.transit_sd = in.duration_or("transit_sd_ms", {0, 10}, calibration.transit_sd);
  tapper.dead = in.duration_or("dead_ms", {0, 100}, calibration.points.front().on_time * 3 / 5);
  if (in.has("re_strike_ms")) tapper.re_strike = in.duration("re_strike_ms", {1, 1000});
  tapper.re_strike_after = in.duration_or("re_strike_after_ms", {5, 200}, 25ms);
  tapper.pick_up_mv = in.number_or("pick_up_mv", {0, 1000}, 0.0);
  if (in.has("miss_every")) tapper.miss_every = in.whole("miss_every", 1, 1'000'000'000);
  if (in.has("late_every")) {
    tapper.late_every = in.whole("late_every", 1, 1'000'000'000);
    tapper.late = in.duration("late_ms", {0.001, 1000});
  }
  tapper.transit_drift_per_hour = in.duration_or("transit_drift_ms_per_hour", {-10, 10}, 0ms);
  in.finish();
  return tapper;
}

Mode read_mode(TableReader& in, double rate_hz) {
  Mode mode;
  // Above a quarter of the sampling rate a decaying ring can't be told from noise.
  mode.ring_hz = in.number("ring_hz", {1, rate_hz / 4});
  mode.ring = in.duration("ring_ms", {0.1, 2000});
  return mode;
}

SurfaceSettings read_surface(TableReader in, double rate_hz) {
  SurfaceSettings surface;
  surface.gain_mv_per_m_s = in.number("gain_mv_per_m_s", {0, 1e6});
  // Draws reach 3 deviations, and an amplitude can't be negative.
  surface.amplitude_cv = in.number_or("amplitude_cv", {0, 0.33}, 0.0);
  for (TableReader& table : in.tables("mode")) {
    Mode mode = read_mode(table, rate_hz);
    mode.share = table.number_or("share", {0, 1}, 1.0);
    table.finish();
    surface.modes.push_back(mode);
  }
  if (surface.modes.empty() || surface.modes.size() > 3) {
    in.fail("mode", fmt::format("{} tables", surface.modes.size()), "1 to 3 modes",
            "begin each with [[simulated.surface.mode]]");
  }
  in.finish();
  return surface;
}

FrontEndSettings read_front_end(TableReader in) {
  FrontEndSettings front_end;
  front_end.rate_hz = in.whole("rate_hz", 500, 100'000);
  if (nanoseconds_per_second % front_end.rate_hz != 0) {
    in.fail("rate_hz", fmt::format("the number {}", front_end.rate_hz),
            "a rate whose period is a whole number of nanoseconds", "take 1000, 2000, 4000, 8000");
  }
  front_end.bits = static_cast<int>(in.whole("bits", 6, most_bits));
  front_end.reference_mv = in.number("reference_mv", {100, 10'000});
  front_end.noise_mv = in.number("noise_mv", {0, 1000});
  in.finish();
  return front_end;
}

DisturbanceSettings read_disturbance(TableReader& in, double rate_hz) {
  DisturbanceSettings disturbance;
  disturbance.name = in.text("name");
  disturbance.per_hour = in.number("per_hour", {0.001, 100'000});
  disturbance.amplitude_mv = in.number("amplitude_mv", {0, 100'000});
  disturbance.amplitude_cv = in.number_or("amplitude_cv", {0, 0.33}, 0.0);
  disturbance.mode = read_mode(in, rate_hz);
  if (in.has("bumps")) disturbance.bumps = in.whole("bumps", 1, 20);
  if (disturbance.bumps > 1) {
    const auto gap = in.durations("bump_gap_ms", {1, 5000});
    if (gap.size() != 2 || gap[0] > gap[1]) {
      in.fail("bump_gap_ms", "another list", "[shortest, longest]");
    }
    disturbance.shortest_gap = gap[0];
    disturbance.longest_gap = gap[1];
  }
  in.finish();
  return disturbance;
}

std::vector<KnownRhythm> read_rhythms(TableReader& in) {
  std::vector<KnownRhythm> rhythms;
  for (TableReader& table : in.tables("rhythm")) {
    KnownRhythm rhythm;
    rhythm.name = table.text("name");
    rhythm.intervals = table.duration_ranges("intervals_ms", {1, 10'000});
    table.finish();
    rhythms.push_back(std::move(rhythm));
  }
  if (rhythms.empty()) {
    in.fail("rhythm", "no rhythm", "at least one", "begin each with [[simulated.device.rhythm]]");
  }
  return rhythms;
}

FirmwareSettings read_firmware(TableReader& in) {
  FirmwareSettings firmware;
  firmware.window = in.whole("window", 8, longest_window);
  firmware.k_sigma = in.number("k_sigma", {1, 1000});
  firmware.min_lsb = in.number_or("min_lsb", {0, 65536}, 0.0);
  firmware.influence = in.number_or("influence", {0, 1}, 0.0);
  firmware.lockout = in.duration("lockout_ms", {0, 5000});
  firmware.decision_gap = in.duration("decision_gap_ms", {50, 10'000});
  firmware.baud = in.whole("baud", 300, 4'000'000);
  firmware.poll = in.duration_or("poll_ms", {0, 1000}, 0ms);
  firmware.sensitivity = in.number_or("sensitivity", {0.01, 100}, 1.0);
  firmware.rhythms = read_rhythms(in);
  return firmware;
}

DiceSettings read_dice(TableReader& in) {
  DiceSettings dice;
  dice.detects = in.number("detects", {0, 1});
  dice.decision_gap = in.duration("decision_gap_ms", {1, 10'000});
  dice.latency = in.duration("latency_ms", {0, 60'000});
  if (dice.latency < dice.decision_gap) {
    in.fail("latency_ms", fmt::format("{} ms", base::to_ms(dice.latency)),
            fmt::format("at least decision_gap_ms ({} ms)", base::to_ms(dice.decision_gap)),
            "a rhythm is known to have ended only after that gap");
  }
  dice.spread = in.duration_or("spread_ms", {0, 60'000}, 0ms);
  if (in.has("spread") && in.choice("spread", {"uniform", "exponential"}) == "exponential") {
    dice.spread_kind = DiceSettings::Spread::exponential;
  }
  if (in.has("false_alarms_per_hour") && in.number("false_alarms_per_hour", {0, 100'000}) > 0.0) {
    dice.false_alarms_per_hour = in.number("false_alarms_per_hour", {0.001, 100'000});
  }
  dice.rhythms = read_rhythms(in);
  return dice;
}

DeviceSettings read_device(TableReader& in) {
  const bool is_dice = in.choice("model", {"firmware", "dice"}) == "dice";
  DeviceSettings settings =
      is_dice ? DeviceSettings{read_dice(in)} : DeviceSettings{read_firmware(in)};
  in.finish();
  return settings;
}

std::vector<DeviceSettings> read_devices(TableReader& in, const rig::RigFile& rig) {
  std::vector<DeviceSettings> devices;
  for (TableReader& table : in.tables("device")) devices.push_back(read_device(table));
  if (devices.size() != rig.devices.size()) {
    in.fail("device", fmt::format("{} simulated devices", devices.size()),
            fmt::format("one [[simulated.device]] for each of the rig's {} devices",
                        rig.devices.size()));
  }
  return devices;
}

SensorSettings read_sensor(TableReader& in) {
  SensorSettings sensor;
  sensor.front_end = read_front_end(in.table("front_end"));
  const auto rate_hz = static_cast<double>(sensor.front_end.rate_hz);
  sensor.surface = read_surface(in.table("surface"), rate_hz);
  for (TableReader& table : in.tables("disturbance")) {
    sensor.disturbances.push_back(read_disturbance(table, rate_hz));
  }
  return sensor;
}

}  // namespace

bool KnownRhythm::matches(const std::vector<base::Duration>& heard) const {
  return std::equal(heard.begin(), heard.end(), intervals.begin(), intervals.end(),
                    [](base::Duration interval, const auto& window) {
                      return window.first <= interval && interval <= window.second;
                    });
}

Simulation parse_simulation(std::string_view text, const std::string& file,
                            const rig::RigFile& rig) {
  TableReader in = TableReader::parse(text, file).table("simulated");
  if (!rig.calibration) {
    throw base::InputError(in.place(), "a simulated rig without calibration",
                           "the table [calibration]",
                           "add it: the simulated tapper strikes as it says");
  }
  Simulation simulation;
  simulation.tapper = read_tapper(in.table("tapper"), *rig.calibration);
  simulation.devices = read_devices(in, rig);
  const bool samples = std::any_of(
      simulation.devices.begin(), simulation.devices.end(),
      [](const DeviceSettings& d) { return std::holds_alternative<FirmwareSettings>(d); });
  if (samples || in.has("front_end")) simulation.sensor = read_sensor(in);
  if (!samples) simulation.sensor.reset();  // nobody would hear it
  in.finish();
  return simulation;
}

}  // namespace plexor::virtual_rig
