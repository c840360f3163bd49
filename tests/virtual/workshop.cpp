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
  std::string operator()(const rig::GatePassed& passed) const {
    return fmt::format("gate {} {}", passed.at.time_since_epoch().count(), passed.covered.count());
  }
  std::string operator()(const base::Event& event) const {
    return fmt::format("event {} {} {}", event.device, event.name,
                       event.arrival.time_since_epoch().count());
  }
  std::string operator()(const rig::ListenerChanged& change) const {
    return fmt::format("listener {} {}", change.device, change.up);
  }
  std::string operator()(const rig::LineHeard& line) const { return "line " + line.text; }
  std::string operator()(const rig::LeaveEnded& left) const { return "leave " + left.reason; }
  std::string operator()(const rig::SamplesHeard& heard) const {
    return fmt::format("{} samples of {}", heard.values.size(), heard.channel);
  }
  std::string operator()(const rig::DisturbanceSensed& sensed) const {
    return fmt::format("disturbance {} {} {}", sensed.name, sensed.from.time_since_epoch().count(),
                       sensed.to.time_since_epoch().count());
  }
  std::string operator()(const rig::ClockSeen& clock) const {
    return fmt::format("clock {}", clock.wall_ns);
  }
};

}  // namespace

rig::RigFile workshop_rig() {
  rig::RigFile rig;
  rig.name = "workshop";
  rig.limits.max_pulse = 30ms;
  rig.limits.min_rest = 40ms;
  rig.limits.duty_percent = 25;
  rig.limits.duty_span = 300s;
  rig.limits.max_on_in_span = 75s;
  rig.limits.max_coil_c = 105;
  rig.limits.coil_margin_k = 15;
  rig.limits.max_energy_j = 50e-3;
  rig.limits.max_tip_pressure_pa = 50e4;
  rig.limits.tip_diameter_m = 10e-3;
  rig.limits.seated_force_n = 28.6;
  rig.contact.kind = rig::ContactKind::tip_switch;
  rig.limits.moving_mass_kg = 0.012;
  rig.coil = {.supply_v = 12,
              .resistance_20c_ohm = 15,
              .winding_j_k = 8,
              .body_j_k = 45,
              .winding_to_body_k_w = 3,
              .body_to_air_k_w = 15,
              .ambient_c = 25};
  // The default plunger at 25 degC (tests/virtual/shipped_rigs_test.cpp holds such tables to it).
  rig.calibration = rig::Calibration{.date = "2026-05-18",
                                     .transit_sd = 150us,
                                     .curves = {{{25'000, 12'000},
                                                 {{9200us, {281'000}, 17450us},
                                                  {9700us, {456'000}, 15990us},
                                                  {10500us, {688'000}, 14850us},
                                                  {11500us, {929'000}, 14230us},
                                                  {12500us, {1'127'000}, 13990us},
                                                  {13500us, {1'251'000}, 13930us}}}}};
  rig.devices = {{.name = "panel", .version = "1"}};
  return rig;
}

Simulation workshop_simulation() {
  Simulation simulation;
  simulation.tapper.tip = physics::tip_materials[1].elastic;
  simulation.tapper.transit_sd = 150us;
  SensorSettings sensor;
  sensor.surface = {.plate = {.material = physics::find_material("oak").value(),
                              .length_m = 1.2,
                              .width_m = 0.6,
                              .thickness_m = 0.038,
                              .mounting_loss = 0.03},
                    .tap = {0.30, 0.25},
                    .sensor = {0.46, 0.37},
                    .restitution = 0.35,
                    .amplitude_cv = 0.1};
  sensor.disc = {.disc = {.bending_gain = 40},
                 .resonance_hz = 4200,
                 .quality = 5,
                 .disc_kg = 0.001,
                 .seismic_kg = 0.005,
                 .bleed_ohm = 1e6,
                 .series_ohm = 47e3};
  sensor.front_end = {.rate_hz = 8000, .bits = 12, .reference_mv = 3300, .noise_mv = 1.6};
  simulation.sensor = sensor;
  FirmwareSettings firmware;
  firmware.detector = PeakSettings{.window = 1024, .k_sigma = 5.0, .min_lsb = 12};
  firmware.lockout = 90ms;
  firmware.decision_gap = 450ms;
  firmware.link = SerialLink{.baud = 9600, .poll = 16ms};
  firmware.rhythms = {{"call", {{130ms, 290ms}}}, {"kiln", {{110ms, 270ms}, {110ms, 270ms}}}};
  simulation.devices = {firmware};
  return simulation;
}

FirmwareSettings& firmware_of(Simulation& simulation) {
  return std::get<FirmwareSettings>(simulation.devices.front());
}

PeakSettings& peak_of(Simulation& simulation) {
  return std::get<PeakSettings>(firmware_of(simulation).detector);
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
  const auto drive =
      rig.calibration->curves.front().at({static_cast<std::int64_t>(strike_m_s * 1e6 + 0.5)});
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
