#pragma once

#include "safety/limits.hpp"

namespace plexor::safety {

using namespace std::chrono_literals;

/// A small push solenoid as in rig/simulated-oak.toml.
inline CoilModel example_coil() {
  return {.supply_v = 12.0,
          .resistance_20c_ohm = 15.0,
          .winding_j_k = 8.0,
          .body_j_k = 45.0,
          .winding_to_body_k_w = 3.0,
          .body_to_air_k_w = 15.0,
          .ambient_c = 23.0};
}

inline Limits example_limits() {
  return {.max_pulse = 30ms,
          .min_rest = 40ms,
          .duty_percent = 25.0,
          .duty_span = 300s,
          .max_on_in_span = 75s,
          .max_coil_c = 105.0,
          .coil_margin_k = 15.0,
          .max_energy_j = 0.05,
          .moving_mass_kg = 0.02,
          .tip_diameter_m = 0.01,
          .seated_force_n = 28.6,
          .max_tip_pressure_pa = 5.0e5};
}

}  // namespace plexor::safety
