#include "analysis/made_history.hpp"

#include <fmt/format.h>

#include <cmath>

#include "base/random.hpp"

namespace plexor::analysis {
namespace {

constexpr std::uint64_t knocks = 320;
constexpr std::uint64_t distractors = 80;

/// The draws of one figure in one night.
class Draws {
 public:
  Draws(const MadeNight& night, std::uint32_t figure)
      : key_{.seed = night.seed,
             .block = figure,
             .trial = night.number,
             .tap = 0,
             .purpose = base::Purpose::dice} {}

  double uniform() {
    ++key_.tap;
    return std::ldexp(static_cast<double>(base::uniform_bits(key_) >> 11), -53);
  }
  double normal(double mean, double sd) {
    ++key_.tap;
    return mean +
           sd * std::ldexp(static_cast<double>(base::normal_q32(base::uniform_bits(key_))), -32);
  }
  Counts of(std::uint64_t n, double rate) {
    Counts counts{.x = 0, .n = n};
    for (std::uint64_t i = 0; i < n; ++i) counts.x += uniform() < rate ? 1U : 0U;
    return counts;
  }
  /// Poisson: so many exponential gaps fit.
  std::uint64_t events(double mean) {
    std::uint64_t count = 0;
    for (double left = mean + std::log(uniform() + 1e-300); left > 0.0;
         left += std::log(uniform() + 1e-300)) {
      ++count;
    }
    return count;
  }

 private:
  base::DrawKey key_;
};

DeviceFigures made_device(const MadeNight& night, const MadeUnit& unit, std::uint32_t place) {
  const auto draws = [&](std::uint32_t figure) { return Draws(night, 16 * place + figure); };
  DeviceFigures device;
  device.name = unit.name;
  device.release = unit.release;
  device.detected = draws(0).of(knocks, unit.detects);
  device.false_responses = draws(1).of(distractors, unit.answers_distractors);
  device.confused = draws(2).of(knocks, unit.confuses);
  Draws alarms = draws(3);
  for (const std::size_t hour : {22U, 23U, 0U, 1U, 2U, 3U, 4U, 5U}) {
    HourOfDay& one = device.by_hour.at(hour);
    one.quiet_hours = 0.5;
    one.incidents = alarms.events(0.5 * unit.alarms_per_hour);
    device.quiet_hours += one.quiet_hours;
    device.incidents += one.incidents;
  }
  device.median_ms = draws(4).normal(unit.median_ms, 1.5);
  device.p95_ms = draws(5).normal(unit.p95_ms, 4.0);
  return device;
}

}  // namespace

RunFigures made_run(const MadeNight& night) {
  RunFigures run;
  run.night = fmt::format("2026-06-{:02}", night.number + 1);
  run.run_id = fmt::format("00000000-0000-4000-8000-{:012}", night.number);
  run.folder = "soak-" + run.night;
  constexpr std::int64_t first_evening = 1'780'347'600;  // 2026-06-01 21:00 UTC
  run.started_ns = (first_evening + 86'400 * std::int64_t{night.number}) * 1'000'000'000;
  run.scenario = "night watch";
  run.purpose = "soak";
  run.simulated = true;
  run.rig = "workshop";
  run.surface = "oak counter";
  run.spot = "middle";
  run.mounting = "putty";
  run.plexor_version = "0.1.0";
  run.ended = "complete";
  run.judged = "pass";
  run.duration_s = 8.0 * 3600.0;
  run.trials = knocks + distractors;
  run.transit_ms = Draws(night, 1000).normal(night.transit_ms, 0.02);
  run.coil_c = Draws(night, 1001).normal(night.coil_c, 0.4);
  for (std::uint32_t i = 0; i < night.units.size(); ++i) {
    run.devices.push_back(made_device(night, night.units[i], i));
  }
  return run;
}

std::vector<MadeNight> steady_nights(std::uint32_t nights, std::uint64_t seed) {
  std::vector<MadeNight> made;
  for (std::uint32_t i = 0; i < nights; ++i) {
    MadeNight night;
    night.seed = seed;
    night.number = i;
    made.push_back(night);
  }
  return made;
}

std::vector<RunFigures> made_history(const std::vector<MadeNight>& nights) {
  std::vector<RunFigures> runs;
  for (const MadeNight& night : nights) runs.push_back(made_run(night));
  return runs;
}

std::vector<RunFigures> eventful_history(std::uint64_t seed) {
  constexpr std::size_t power_cut = 4;
  constexpr std::size_t broken = 7;
  constexpr std::size_t release = 8;
  std::vector<MadeNight> nights = steady_nights(14, seed);
  nights[broken].units[1].detects = 0.4;
  for (std::size_t i = release; i < nights.size(); ++i) {
    nights[i].units[0].release = "1.5";
    nights[i].units[0].detects -= 0.012 * static_cast<double>(i - release);
  }
  std::vector<RunFigures> runs = made_history(nights);
  runs[power_cut].holes.push_back(
      {.cause = Hole::Cause::reboot, .begins_s = 11'520.0, .length_s = 9'600.0});
  runs[broken].devices[1].power_cycles = 3;
  runs[broken].devices[1].unheard_s = 4'800.0;
  return runs;
}

}  // namespace plexor::analysis
