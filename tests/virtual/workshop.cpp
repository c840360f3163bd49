#include "workshop.hpp"

#include <fmt/format.h>

#include <fstream>
#include <sstream>
#include <stdexcept>

namespace plexor::virtual_rig {

namespace {

struct AsText {
  std::string operator()(const rig::PulseFired& fired) const {
    return fmt::format("pulse {} {} {}", fired.tap, fired.actual.on.time_since_epoch().count(),
                       fired.actual.on_time.count());
  }
  std::string operator()(const rig::ContactSensed& contact) const {
    return fmt::format("contact {}", contact.at.time_since_epoch().count());
  }
  std::string operator()(const base::Event& event) const {
    return fmt::format("event {} {} {}", event.device, event.name,
                       event.arrival.time_since_epoch().count());
  }
  std::string operator()(const rig::ListenerChanged& change) const {
    return fmt::format("listener {} {}", change.device, change.up);
  }
};

}  // namespace

rig::RigFile workshop_rig() {
  rig::RigFile rig;
  rig.name = "workshop";
  rig.contact = rig::ContactKind::tip_switch;
  rig.calibration = rig::Calibration{.date = "2026-05-18",
                                     .transit_sd = 150us,
                                     .points = {{6ms, {200'000}, 27ms},
                                                {10ms, {720'000}, 17500us},
                                                {14ms, {1'210'000}, 13800us},
                                                {21ms, {1'600'000}, 12400us}}};
  rig.devices = {{.name = "panel", .version = "1"}};
  return rig;
}

Simulation workshop_simulation() {
  Simulation simulation;
  simulation.tapper.transit_sd = 150us;
  simulation.tapper.dead = 4ms;
  simulation.tapper.re_strike_after = 25ms;
  SensorSettings sensor;
  sensor.surface = {
      .gain_mv_per_m_s = 400, .amplitude_cv = 0.1, .modes = {{180, 28ms, 0.5}, {420, 14ms, 0.5}}};
  sensor.front_end = {.rate_hz = 8000, .bits = 12, .reference_mv = 3300, .noise_mv = 1.6};
  simulation.sensor = sensor;
  FirmwareSettings firmware;
  firmware.window = 1024;
  firmware.k_sigma = 5.0;
  firmware.min_lsb = 12;
  firmware.lockout = 90ms;
  firmware.decision_gap = 450ms;
  firmware.baud = 9600;
  firmware.poll = 16ms;
  firmware.rhythms = {{"call", {{130ms, 290ms}}}, {"kiln", {{110ms, 270ms}, {110ms, 270ms}}}};
  simulation.devices = {firmware};
  return simulation;
}

FirmwareSettings& firmware_of(Simulation& simulation) {
  return std::get<FirmwareSettings>(simulation.devices.front());
}

Simulation dice_simulation(const DiceSettings& dice) {
  Simulation simulation = workshop_simulation();
  simulation.sensor.reset();
  simulation.devices = {dice};
  return simulation;
}

DiceSettings sure_dice() {
  DiceSettings dice;
  dice.detects = 1.0;
  dice.decision_gap = 450ms;
  dice.latency = 500ms;
  dice.rhythms = {{"call", {{130ms, 290ms}}}};
  return dice;
}

std::vector<base::Pulse> pulses_for(const rig::RigFile& rig, base::Instant first,
                                    const std::vector<base::Duration>& contacts,
                                    double strike_m_s) {
  const auto drive = rig.calibration->at({static_cast<std::int64_t>(strike_m_s * 1e6 + 0.5)});
  std::vector<base::Pulse> pulses;
  for (const base::Duration contact : contacts) {
    pulses.push_back({first + contact - drive.transit, drive.on_time});
  }
  return pulses;
}

std::vector<rig::Observation> observe_all(VirtualRig& rig, base::Instant until) {
  std::vector<rig::Observation> all;
  while (auto one = rig.observe_until(until)) all.push_back(std::move(*one));
  return all;
}

std::string to_text(const std::vector<rig::Observation>& observations) {
  std::string text;
  for (const auto& one : observations) text += std::visit(AsText{}, one) + "\n";
  return text;
}

std::string read_source_file(const std::string& path) {
  std::ifstream in(PLEXOR_SOURCE_DIR "/" + path);
  if (!in) throw std::runtime_error("cannot read " + path);
  std::ostringstream text;
  text << in.rdbuf();
  return text.str();
}

}  // namespace plexor::virtual_rig
