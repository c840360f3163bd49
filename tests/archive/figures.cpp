#include <array>
#include <cmath>
#include <limits>
#include <random>

#include "archive/bench.hpp"

namespace plexor::archive {

namespace {

using analysis::Hole;

class Draw {
 public:
  explicit Draw(std::uint64_t seed) : random_(seed) {}

  std::uint64_t below(std::uint64_t n) { return random_() % n; }
  std::uint64_t whole() { return random_() >> below(64); }
  bool coin() { return below(2) == 0; }

  double real() {
    constexpr std::array<double, 6> odd{0.0,
                                        -0.0,
                                        std::numeric_limits<double>::infinity(),
                                        std::numeric_limits<double>::denorm_min(),
                                        std::numeric_limits<double>::max(),
                                        0.1};
    if (below(4) == 0) return odd.at(below(odd.size()));
    return std::ldexp(static_cast<double>(whole()), static_cast<int>(below(200)) - 150);
  }
  std::optional<double> perhaps() { return coin() ? std::optional(real()) : std::nullopt; }

  std::string text() {
    static const std::array<std::string, 12> parts{
        "",   "oak counter",   "'",  "\"",        "\\", "; DROP TABLE run; --", ":v0", "?",
        "\n", "Gl\u00e4ttung", "{}", "\U0001F528"};
    std::string all;
    for (std::uint64_t i = below(4); i > 0; --i) all += parts.at(below(parts.size()));
    return all;
  }

 private:
  std::mt19937_64 random_;
};

analysis::DeviceFigures random_device(Draw& draw) {
  analysis::DeviceFigures device{.name = draw.text(),
                                 .release = draw.text(),
                                 .detected = {draw.whole(), draw.whole()},
                                 .false_responses = {draw.whole(), draw.whole()},
                                 .confused = {draw.whole(), draw.whole()},
                                 .incidents = draw.whole(),
                                 .quiet_hours = draw.real(),
                                 .disturbed_incidents = draw.whole(),
                                 .median_ms = draw.perhaps(),
                                 .p95_ms = draw.perhaps(),
                                 .power_cycles = static_cast<std::uint32_t>(draw.whole()),
                                 .unheard_s = draw.real(),
                                 .by_hour = {},
                                 .alarms_z = draw.perhaps(),
                                 .detection_z = draw.perhaps()};
  for (analysis::HourOfDay& hour : device.by_hour) {
    if (draw.coin()) hour = {draw.real(), draw.whole()};
  }
  return device;
}

}  // namespace

analysis::RunFigures random_run(std::uint64_t seed) {
  Draw draw(seed);
  analysis::RunFigures run{.run_id = std::to_string(seed) + draw.text(),
                           .folder = draw.text(),
                           .started_ns = static_cast<std::int64_t>(draw.whole()),
                           .utc_offset_s = static_cast<std::int32_t>(draw.below(90000)) - 45000,
                           .night = "2026-06-1" + std::to_string(draw.below(10)),
                           .plexor_version = draw.text(),
                           .scenario = draw.text(),
                           .purpose = draw.text(),
                           .seed = draw.whole(),
                           .lifted = draw.coin(),
                           .simulated = draw.coin(),
                           .rig = draw.text(),
                           .surface = draw.text(),
                           .spot = draw.text(),
                           .mounting = draw.text(),
                           .ended = draw.text(),
                           .detail = draw.text(),
                           .judged = draw.text(),
                           .headline = draw.text(),
                           .duration_s = draw.real(),
                           .trials = draw.whole(),
                           .voids = draw.whole(),
                           .holes = {},
                           .transit_ms = draw.perhaps(),
                           .transit_sd_ms = draw.perhaps(),
                           .coil_c = draw.perhaps(),
                           .devices = {}};
  for (std::uint64_t i = draw.below(4); i > 0; --i) {
    run.holes.push_back({static_cast<Hole::Cause>(draw.below(4)), draw.real(), draw.perhaps()});
  }
  for (std::uint64_t i = draw.below(4); i > 0; --i) run.devices.push_back(random_device(draw));
  return run;
}

analysis::RunFigures plain_run(const std::string& id, const std::string& night) {
  analysis::RunFigures run;
  run.run_id = id;
  run.night = night;
  run.rig = "north";
  run.surface = "oak counter";
  run.scenario = "night watch";
  run.ended = "complete";
  run.trials = 5000;
  analysis::DeviceFigures& device = run.devices.emplace_back();
  device.name = "panel";
  device.release = "1.4";
  device.detected = {4930, 5000};
  device.by_hour[23] = {1.0, 2};
  return run;
}

}  // namespace plexor::archive
