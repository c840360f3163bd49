#include <fmt/format.h>

#include <cmath>

#include "virtual/parse_parts.hpp"

namespace plexor::virtual_rig {

namespace {

using base::TableReader;

constexpr std::int64_t nanoseconds_per_second = 1'000'000'000;
constexpr int most_bits = 16;

physics::Material read_material(TableReader& in) {
  std::vector<std::string> names;
  for (const auto& material : physics::materials()) names.emplace_back(material.name);
  return physics::find_material(in.choice("material", names)).value();
}

physics::Spot read_spot(TableReader& in, const std::string& key, const physics::Plate& plate) {
  const std::vector<double> mm = in.numbers(key, {0, 10'000});
  if (mm.size() != 2) {
    in.fail(key, fmt::format("{} numbers", mm.size()), "[along, across] in millimetres",
            "both from the same corner of the surface");
  }
  const physics::Spot spot{mm[0] / 1e3, mm[1] / 1e3};
  if (spot.along_m >= plate.length_m || spot.across_m >= plate.width_m) {
    in.fail(key, fmt::format("[{:g}, {:g}]", mm[0], mm[1]),
            fmt::format("a spot on the surface of {:g} mm by {:g} mm", plate.length_m * 1e3,
                        plate.width_m * 1e3));
  }
  return spot;
}

/// A plate that nothing can make audible, or one with more modes than can be computed.
void check_modes(const TableReader& in, const physics::Plate& plate) {
  constexpr double audible_hz = 5000.0;
  constexpr double most_modes = 5000.0;
  const double lowest_hz = physics::mode_hz(plate, 1, 1);
  if (lowest_hz > audible_hz) {
    in.fail("thickness_mm", fmt::format("a plate whose lowest mode lies at {:.0f} Hz", lowest_hz),
            fmt::format("a mode below {:.0f} Hz", audible_hz), "take a larger or thinner one");
  }
  // Of a plate's modes one lies in each stretch of 2 s/(a b) hertz, s = sqrt(D/(rho h)).
  const double root = std::sqrt(physics::rigidity_nm(plate) / physics::area_density_kg_m2(plate));
  const double modes =
      plate.length_m * plate.width_m * audible_hz / (2.0 * root * plate.edge_factor);
  if (modes > most_modes) {
    in.fail("thickness_mm",
            fmt::format("a plate of about {:.0f} modes below {:.0f} Hz", modes, audible_hz),
            fmt::format("at most {:.0f}", most_modes), "take a smaller or thicker one");
  }
}

SurfaceSettings read_surface(TableReader in) {
  SurfaceSettings surface;
  physics::Plate& plate = surface.plate;
  plate.material = read_material(in);
  plate.length_m = in.number("length_mm", {50, 10'000}) / 1e3;
  plate.width_m = in.number("width_mm", {50, 10'000}) / 1e3;
  plate.thickness_m = in.number("thickness_mm", {0.5, 200}) / 1e3;
  if (in.has("edges") && in.choice("edges", {"simply-supported", "clamped"}) == "clamped") {
    plate.edges = physics::Edges::clamped;
  }
  plate.edge_factor = in.number_or("edge_factor", {0.2, 5}, 1.0);
  plate.mounting_loss = in.number_or("mounting_loss", {0, 0.5}, 0.03);
  check_modes(in, plate);
  surface.tap = read_spot(in, "tap_mm", plate);
  surface.sensor = read_spot(in, "sensor_mm", plate);
  surface.restitution = in.number_or("restitution", {0.05, 0.95}, 0.35);
  // Draws reach 3 deviations, and an amplitude can't be negative.
  surface.amplitude_cv = in.number_or("amplitude_cv", {0, 0.33}, 0.0);
  in.finish();
  return surface;
}

DiscSettings read_disc(TableReader in) {
  DiscSettings disc;
  disc.disc.diameter_m = in.number_or("diameter_mm", {2, 100}, 20.0) / 1e3;
  disc.disc.thickness_m = in.number_or("thickness_mm", {0.05, 10}, 0.25) / 1e3;
  disc.disc.relative_permittivity = in.number_or("permittivity", {100, 10'000}, 1700.0);
  disc.disc.charge_c_n = in.number_or("charge_pc_n", {1, 2000}, 374.0) / 1e12;
  disc.disc.bending_gain = in.number_or("bending_gain", {0.01, 1000}, 1.0);
  disc.resonance_hz = in.number_or("resonance_hz", {100, 100'000}, 4200.0);
  disc.quality = in.number_or("quality", {0.5, 200}, 5.0);
  disc.disc_kg = in.number_or("disc_g", {0.01, 100}, 1.0) / 1e3;
  disc.seismic_kg = in.number_or("seismic_g", {0, 1000}, 0.0) / 1e3;
  disc.cable_f = in.number_or("cable_pf", {0, 1'000'000}, 100.0) / 1e12;
  disc.bleed_ohm = in.number_or("bleed_kohm", {1, 100'000}, 1000.0) * 1e3;
  disc.series_ohm = in.number_or("series_kohm", {1, 1000}, 47.0) * 1e3;
  in.finish();
  return disc;
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
  front_end.hum_mv = in.number_or("hum_mv", {0, 10'000}, 0.0);
  front_end.hum_hz = in.number_or("hum_hz", {1, 1000}, 50.0);
  in.finish();
  return front_end;
}

std::variant<Tremor, Blow> read_cause(TableReader& in, const SensorSettings& sensor) {
  if (in.has("impulse_mns")) {
    return Blow{.impulse_ns = in.number("impulse_mns", {0, 100'000}) / 1e3,
                .contact = in.duration("contact_ms", {0.01, 100}),
                .at = read_spot(in, "at_mm", sensor.surface.plate)};
  }
  // Above a quarter of the sampling rate a decaying ring can't be told from noise.
  const double highest_hz = static_cast<double>(sensor.front_end.rate_hz) / 4.0;
  return Tremor{.amplitude_mv = in.number("amplitude_mv", {0, 100'000}),
                .ring_hz = in.number("ring_hz", {1, highest_hz}),
                .ring = in.duration("ring_ms", {0.1, 2000})};
}

DisturbanceSettings read_disturbance(TableReader& in, const SensorSettings& sensor) {
  DisturbanceSettings disturbance;
  disturbance.name = in.text("name");
  disturbance.per_hour = in.number("per_hour", {0.001, 100'000});
  disturbance.strength_cv = in.number_or("strength_cv", {0, 0.33}, 0.0);
  disturbance.cause = read_cause(in, sensor);
  if (in.has("bumps")) disturbance.bumps = in.whole("bumps", 1, 100);
  if (disturbance.bumps > 1) {
    const auto gap = in.durations("bump_gap_ms", {1, 5000});
    if (gap.size() != 2 || gap[0] > gap[1]) {
      in.fail("bump_gap_ms", "another list", "[shortest, longest]");
    }
    disturbance.shortest_gap = gap[0];
    disturbance.longest_gap = gap[1];
  }
  if (in.flag_or("marked", false)) {
    disturbance.marked_tail = in.duration_or("tail_s", {0.1, 600}, rig::usual_disturbance_tail);
  }
  in.finish();
  return disturbance;
}

}  // namespace

SensorSettings read_sensor(TableReader& in) {
  SensorSettings sensor;
  sensor.front_end = read_front_end(in.table("front_end"));
  sensor.surface = read_surface(in.table("surface"));
  sensor.disc = read_disc(in.table("disc"));
  for (TableReader& table : in.tables("disturbance")) {
    sensor.disturbances.push_back(read_disturbance(table, sensor));
  }
  return sensor;
}

}  // namespace plexor::virtual_rig
