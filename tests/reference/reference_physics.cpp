#include <cmath>

#include "reference/reference_check.hpp"
#include "safety/limits.hpp"
#include "safety/thermal.hpp"
#include "virtual/peak_detector.hpp"
#include "virtual/physics/coil.hpp"
#include "virtual/physics/impact.hpp"
#include "virtual/physics/piezo.hpp"
#include "virtual/physics/plate.hpp"
#include "virtual/physics/timing.hpp"

namespace plexor::reference {

namespace {

using In = const Inputs&;
using Handlers = std::vector<Handler>;

base::Duration seconds(double value) { return base::Duration(std::llround(value * 1e9)); }

int whole(In in, const std::string& key) { return static_cast<int>(in.count(key)); }

/// Values apart by slashes, as physics_checks.csv writes lists.
std::vector<double> listed(In in, const std::string& key) {
  std::vector<double> values;
  for (const std::string& part : split(in.text(key), "/"))
    values.push_back(parse_number(part, in.place()));
  return values;
}

physics::FixedCoil coil(In in) {
  return {.resistance_ohm = in.number("R"), .inductance_h = in.number("L")};
}

Handlers coil_handlers() {
  return {
      {"", "coil_current_A", "V R L t",
       [](In in) -> Answer {
         return physics::rising_current_a(coil(in), in.number("V"), in.number("t"));
       }},
      {"", "time_to_current_s", "V R L I",
       [](In in) -> Answer {
         return physics::time_to_current_s(coil(in), in.number("V"), in.number("I"));
       }},
      {"", "freewheel_current_A", "I0 R L Vclamp t",
       [](In in) -> Answer {
         return physics::freewheel_current_a(coil(in), in.number("I0"), in.number("Vclamp"),
                                             in.number("t"));
       }},
      {"", "decay_to_current_s", "I0 R L Vclamp I",
       [](In in) -> Answer {
         return physics::time_of_decay_s(coil(in), in.number("I0"), in.number("Vclamp"),
                                         in.number("I"));
       }},
      {"", "stored_energy_J", "L I",
       [](In in) -> Answer {
         return physics::stored_energy_j({.inductance_h = in.number("L")}, in.number("I"));
       }},
      {"", "gap_force_N", "N I A_m2 g_m g0_m",
       [](In in) -> Answer {
         return physics::gap_force_n(in.number("N"), in.number("I"), in.number("A_m2"),
                                     in.number("g_m") + in.number("g0_m"));
       }},
      {"", "saturated_force_N", "B_T A_m2",
       [](In in) -> Answer { return physics::pole_force_n(in.number("B_T"), in.number("A_m2")); }},
  };
}

/// The code's coil has two nodes; with a body too large to warm up, the winding is the one node.
safety::CoilModel one_node(double k_w, double j_k) {
  return {.supply_v = 0.0,
          .resistance_20c_ohm = 1.0,
          .winding_j_k = j_k,
          .body_j_k = 1e12,
          .winding_to_body_k_w = k_w,
          .body_to_air_k_w = 1e-6,
          .ambient_c = 0.0};
}

Answer coil_resistance(In in) {
  const auto per_20c_ohm = [](double c) {
    return safety::resistance_ohm({.resistance_20c_ohm = 1.0}, c);
  };
  return in.number("R1") * per_20c_ohm(in.number("T2")) / per_20c_ohm(in.number("T1"));
}

/// The temperature at which the code's coil has this resistance: it is a straight line.
Answer coil_temperature(In in) {
  const auto per_20c_ohm = [](double c) {
    return safety::resistance_ohm({.resistance_20c_ohm = 1.0}, c);
  };
  const double wanted = in.number("R2") / in.number("R1") * per_20c_ohm(in.number("T1"));
  return (wanted - per_20c_ohm(0.0)) / (per_20c_ohm(1.0) - per_20c_ohm(0.0));
}

double peak_rise_k(In in, std::uint64_t cycles) {
  const safety::CoilModel model = one_node(in.number("Rth"), in.number("Cth"));
  safety::CoilState state = safety::cold(model);
  double peak = 0.0;
  for (std::uint64_t cycle = 0; cycle < cycles; ++cycle) {
    state = safety::after_at_power(model, state, seconds(in.number("Ton")), in.number("P"));
    peak = state.winding_c;
    state = safety::after_at_power(model, state, seconds(in.number("Toff")), 0.0);
  }
  return peak;
}

Answer max_on_time(In in) {
  const safety::CoilModel model = one_node(in.number("Rth"), in.number("Cth"));
  const safety::CoilState start{in.number("d0"), 0.0};
  double low = 0.0;
  double high = 1e5;
  while (high - low > 1e-6) {
    const double middle = 0.5 * (low + high);
    const auto end = safety::after_at_power(model, start, seconds(middle), in.number("P"));
    (end.winding_c > in.number("dLim") ? high : low) = middle;
  }
  return low;
}

Answer steady_temperature(In in) {
  safety::CoilModel model = one_node(in.number("Rth"), 1.0);
  model.supply_v = in.number("V");
  model.resistance_20c_ohm = in.number("R20");
  model.ambient_c = in.number("Ta");
  const base::Duration many_time_constants = seconds(50.0 * in.number("Rth"));
  return safety::after(model, safety::cold(model), many_time_constants, true).winding_c;
}

/// What the check of pulses says to this duty, going on for two spans. All times are a thousandth:
/// the law knows no scale, and the compiled-in ceilings allow no pulse of many seconds.
Answer duty_verdict(In in) {
  const base::Duration on = seconds(in.number("Ton_s") / 1e3);
  const base::Duration off = seconds(in.number("Toff_s") / 1e3);
  const base::Duration span = seconds(in.number("rated_cycle_s") / 1e3);
  const safety::Limits limits{.max_pulse = on,
                              .min_rest = base::Duration{1},
                              .duty_percent = in.number("rated_ED_pct"),
                              .duty_span = span,
                              .max_on_in_span = span,
                              .max_coil_c = 100.0,
                              .coil_margin_k = 1.0,
                              .max_energy_j = 0.1,
                              .moving_mass_kg = 0.01,
                              .tip_diameter_m = 0.01,
                              .seated_force_n = 1.0,
                              .max_tip_pressure_pa = 1e6};
  safety::CoilModel never_warm = one_node(1e-3, 1e6);
  never_warm.supply_v = 1e-3;
  never_warm.ambient_c = 20.0;
  if (safety::check_limits(limits)) return "refused";
  safety::PulseCheck check(limits, never_warm, {safety::cold(never_warm)}, base::segment_start);
  for (base::Instant at = base::segment_start; at < base::segment_start + 2 * span;
       at += on + off) {
    const std::vector<base::Pulse> pulse{{at, on}};
    if (check.check(pulse)) return "refused";
    check.accept(pulse);
  }
  return "allowed";
}

Handlers thermal_handlers() {
  return {
      {"", "coil_resistance_ohm", "R1 T1 T2", coil_resistance},
      {"", "coil_temp_from_R_degC", "R1 T1 R2", coil_temperature},
      {"", "peak_rise_after_N_cycles_K", "P Rth Cth Ton Toff N",
       [](In in) -> Answer { return peak_rise_k(in, in.count("N")); }},
      {"", "periodic_steady_peak_rise_K", "P Rth Cth Ton Toff",
       [](In in) -> Answer { return peak_rise_k(in, 1000); }},
      {"", "max_on_time_s", "P Rth Cth d0 dLim", max_on_time},
      {"", "const_voltage_steady_temp_degC", "V R20 Rth Ta", steady_temperature},
      {"", "duty_verdict", "Ton_s Toff_s rated_ED_pct rated_cycle_s", duty_verdict},
  };
}

physics::Impact impact(In in) {
  return {.mass_kg = in.number("m"),
          .tip_radius_m = in.number("R"),
          .modulus_pa = physics::contact_modulus_pa({in.number("E1"), in.number("nu1")},
                                                    {in.number("E2"), in.number("nu2")}),
          .speed_m_s = in.number("v")};
}

Handlers impact_handlers() {
  constexpr std::string_view ball = "m R E1 nu1 E2 nu2 v";
  return {
      {"", "hertz_contact_time_s", ball,
       [](In in) -> Answer { return physics::hertz_contact_time_s(impact(in)); }},
      {"", "hertz_peak_force_N", ball,
       [](In in) -> Answer { return physics::hertz_peak_force_n(impact(in)); }},
      {"", "hertz_max_indentation_m", ball,
       [](In in) -> Answer { return physics::hertz_indentation_m(impact(in)); }},
      {"", "impact_energy_J", "m v",
       [](In in) -> Answer { return physics::impact_energy_j(in.number("m"), in.number("v")); }},
      {"", "drop_energy_J", "m h",
       [](In in) -> Answer { return physics::drop_energy_j(in.number("m"), in.number("h")); }},
      {"", "highest_IK_energy_not_above", "E_J",
       [](In in) -> Answer { return std::string(physics::ik_class(in.number("E_J"))); }},
  };
}

/// A square unless the row has both lengths; 0 where the quantity does not depend on it.
physics::Plate plate(In in) {
  const auto number_or = [&](const char* key, double otherwise) {
    return in.has(key) ? in.number(key) : otherwise;
  };
  const double length_m = number_or("a", 0.0);
  return {.material = {.name = "of the row",
                       .elastic = {in.number("E"), in.number("nu")},
                       .density_kg_m3 = number_or("rho", 0.0),
                       .loss_factor = 0.0,
                       .source = {}},
          .length_m = length_m,
          .width_m = number_or("b", length_m),
          .thickness_m = in.number("h")};
}

Handlers plate_handlers() {
  return {
      {"", "plate_rigidity_Nm", "E h nu",
       [](In in) -> Answer { return physics::rigidity_nm(plate(in)); }},
      {"", "plate_ss_freq_Hz", "E h nu rho a b mm nn",
       [](In in) -> Answer {
         return physics::mode_hz(plate(in), whole(in, "mm"), whole(in, "nn"));
       }},
      {"", "plate_clamped_f1_Hz", "E h nu rho a",
       [](In in) -> Answer { return physics::clamped_square_hz(plate(in), 1); }},
      {"", "plate_clamped_f2_Hz", "E h nu rho a",
       [](In in) -> Answer { return physics::clamped_square_hz(plate(in), 2); }},
      {"", "infinite_plate_impedance_Ns_m", "E h nu rho",
       [](In in) -> Answer { return physics::infinite_plate_impedance_ns_m(plate(in)); }},
      {"", "decay_60dB_time_s", "f eta",
       [](In in) -> Answer { return physics::t60_s(in.number("f"), in.number("eta")); }},
      {"", "damping_ratio_from_decrement", "x0 xn n",
       [](In in) -> Answer {
         return physics::damping_ratio(in.number("x0"), in.number("xn"), whole(in, "n"));
       }},
  };
}

physics::DiscCircuit disc(In in) {
  return {.capacitance_f = in.number("C"), .bleed_ohm = in.number("R")};
}

Handlers sensor_handlers() {
  return {
      {"", "rc_voltage_V", "v0 R C t",
       [](In in) -> Answer {
         return physics::bled_voltage_v(disc(in), in.number("v0"), in.number("t"));
       }},
      {"", "highpass_corner_Hz", "R C",
       [](In in) -> Answer { return physics::corner_hz(disc(in)); }},
      {"", "piezo_halfsine_peak_V", "Q T C R",
       [](In in) -> Answer {
         return physics::half_sine_peak_v(disc(in), in.number("Q"), in.number("T"));
       }},
      {"", "piezo_undershoot_V", "Q T C R",
       [](In in) -> Answer {
         return physics::half_sine_undershoot_v(disc(in), in.number("Q"), in.number("T"));
       }},
      {"", "quantisation_noise_V_rms", "Vref bits",
       [](In in) -> Answer {
         return physics::quantisation_noise_v(
             {.bits = whole(in, "bits"), .reference_v = in.number("Vref")});
       }},
      {"", "worst_sampled_peak_ratio", "T fs",
       [](In in) -> Answer {
         return physics::worst_sampled_peak(in.number("T"), in.number("fs"));
       }},
  };
}

Handlers timing_handlers() {
  return {
      {"", "serial_line_time_s", "chars baud",
       [](In in) -> Answer {
         return physics::serial_line_time_s(whole(in, "chars"), in.number("baud"));
       }},
      {"", "rect_std_uncertainty_s", "full_width_s",
       [](In in) -> Answer { return physics::rectangular_uncertainty(in.number("full_width_s")); }},
      {"", "combined_std_uncertainty_s", "u1 u2 u3",
       [](In in) -> Answer {
         const double parts[] = {in.number("u1"), in.number("u2"), in.number("u3")};
         return physics::combined_uncertainty(parts);
       }},
      {"", "dtim_max_wait_s", "beacon_TU dtim",
       [](In in) -> Answer {
         return physics::dtim_longest_wait_s(in.number("beacon_TU"), whole(in, "dtim"));
       }},
  };
}

/// The samples that the simulated firmware flags. Its deviation counts as one step
/// of the converter at least, which the check's samples are not held to but exceed.
Answer flagged_samples(In in) {
  const virtual_rig::PeakSettings settings{.window = static_cast<std::int64_t>(in.count("window")),
                                           .k_sigma = in.number("k"),
                                           .influence = 1.0};
  virtual_rig::PeakDetector detector(settings, 0);
  std::vector<double> flagged;
  double index = in.number("index_base");
  for (const double sample : listed(in, "samples")) {
    if (detector.flags(static_cast<std::int32_t>(sample))) flagged.push_back(index);
    index += 1.0;
  }
  return flagged;
}

Handlers detection_handlers() {
  return {{"", "zscore_flag_indices", "samples window k sd index_base", flagged_samples}};
}

}  // namespace

std::vector<Handler> physics_handlers() {
  Handlers all;
  for (const Handlers& some :
       {coil_handlers(), thermal_handlers(), impact_handlers(), plate_handlers(), sensor_handlers(),
        timing_handlers(), detection_handlers()}) {
    all.insert(all.end(), some.begin(), some.end());
  }
  return all;
}

}  // namespace plexor::reference
