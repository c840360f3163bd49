#include <fmt/format.h>

#include "virtual/parse_parts.hpp"

namespace plexor::virtual_rig {

namespace {

using base::TableReader;

physics::Elastic read_tip(TableReader& in) {
  std::vector<std::string> names;
  for (const auto& tip : physics::tip_materials) names.emplace_back(tip.name);
  const std::string name = in.has("tip") ? in.choice("tip", names) : "nylon";
  for (const auto& tip : physics::tip_materials) {
    if (tip.name == name) return tip.elastic;
  }
  in.fail("tip", name, "a known tip material");
}

base::Duration calibrated_sd(const rig::RigFile& rig) {
  return rig.calibration ? rig.calibration->transit_sd : base::Duration{};
}

physics::Solenoid read_solenoid(TableReader& in, const rig::RigFile& rig) {
  physics::Solenoid solenoid;
  solenoid.resistance_20c_ohm = rig.coil.resistance_20c_ohm;
  solenoid.moving_mass_kg = rig.limits.moving_mass_kg;
  if (rig.speed_gate) {
    solenoid.flag_m = rig.speed_gate->flag_m;
    solenoid.flag_to_surface_m = rig.speed_gate->to_contact_m;
  }
  solenoid.leakage_h = in.number_or("leakage_mh", {0.01, 1000}, 5.0) / 1e3;
  solenoid.gap_inductance_h_m = in.number_or("gap_inductance_mh_mm", {0.1, 100'000}, 250.0) / 1e6;
  solenoid.closed_gap_m = in.number_or("closed_gap_mm", {0.01, 50}, 2.0) / 1e3;
  solenoid.stroke_m = in.number_or("stroke_mm", {0.5, 50}, 5.0) / 1e3;
  solenoid.gap_at_surface_m = in.number_or("gap_at_surface_mm", {0, 50}, 0.0) / 1e3;
  solenoid.saturation_n = in.number_or("saturation_n", {0.1, 1000}, solenoid.saturation_n);
  solenoid.spring_preload_n = in.number_or("spring_preload_n", {0.01, 100}, 0.3);
  solenoid.spring_rate_n_m = in.number_or("spring_n_m", {0, 10'000}, 60.0);
  // Without friction a plunger would never come to rest.
  solenoid.friction_n = in.number_or("friction_n", {0.001, 10}, 0.1);
  solenoid.source_ohm = in.number_or("source_ohm", {0, 100}, 0.0);
  solenoid.clamp_v = in.number_or("clamp_v", {0.1, 200}, 0.9);
  solenoid.back_restitution = in.number_or("back_restitution", {0, 0.9}, 0.2);
  return solenoid;
}

}  // namespace

TapperSettings read_tapper(TableReader in, const rig::RigFile& rig) {
  TapperSettings tapper;
  tapper.solenoid = read_solenoid(in, rig);
  tapper.tip = read_tip(in);
  tapper.tip_radius_m = in.number_or("tip_radius_mm", {0.5, 100}, 6.0) / 1e3;
  tapper.transit_sd = in.duration_or("transit_sd_ms", {0, 10}, calibrated_sd(rig));
  tapper.strike_cv = in.number_or("strike_cv", {0, 0.33}, 0.0);
  tapper.click_share = in.number_or("click_share", {0, 1}, 0.0);
  tapper.pick_up_mv = in.number_or("pick_up_mv", {0, 1000}, 0.0);
  if (in.has("miss_every")) tapper.miss_every = in.whole("miss_every", 1, 1'000'000'000);
  if (in.has("late_every")) {
    tapper.late_every = in.whole("late_every", 1, 1'000'000'000);
    tapper.late = in.duration("late_ms", {0.001, 1000});
  }
  // Not a duration of the reader: the key does not end in its unit.
  const double drift_ms = in.number_or("transit_drift_ms_per_hour", {-10, 10}, 0.0);
  tapper.transit_drift_per_hour = base::Duration{static_cast<std::int64_t>(drift_ms * 1e6)};
  in.finish();
  return tapper;
}

}  // namespace plexor::virtual_rig
