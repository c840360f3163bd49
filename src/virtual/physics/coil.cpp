#include "virtual/physics/coil.hpp"

#include <algorithm>

#include "virtual/physics/elementary.hpp"

namespace plexor::physics {

namespace {

constexpr double mu0 = 4.0e-7 * pi;  // to 1e-9; the value since 2019 is a measured one

double time_constant_s(const FixedCoil& coil) { return coil.inductance_h / coil.resistance_ohm; }

}  // namespace

double rising_current_a(const FixedCoil& coil, double supply_v, double time_s) {
  return supply_v / coil.resistance_ohm * (1.0 - exp_minus(time_s / time_constant_s(coil)));
}

double time_to_current_s(const FixedCoil& coil, double supply_v, double current_a) {
  return -time_constant_s(coil) * natural_log(1.0 - current_a * coil.resistance_ohm / supply_v);
}

double freewheel_current_a(const FixedCoil& coil, double start_a, double clamp_v, double time_s) {
  const double clamp_a = clamp_v / coil.resistance_ohm;
  const double current_a =
      (start_a + clamp_a) * exp_minus(time_s / time_constant_s(coil)) - clamp_a;
  return std::max(current_a, 0.0);
}

double time_of_decay_s(const FixedCoil& coil, double start_a, double clamp_v, double current_a) {
  const double clamp_a = clamp_v / coil.resistance_ohm;
  return time_constant_s(coil) * natural_log((start_a + clamp_a) / (current_a + clamp_a));
}

double stored_energy_j(const FixedCoil& coil, double current_a) {
  return 0.5 * coil.inductance_h * current_a * current_a;
}

double gap_force_n(double turns, double current_a, double area_m2, double gap_m) {
  const double ampere_turns = turns * current_a;
  return mu0 * area_m2 * ampere_turns * ampere_turns / (2.0 * gap_m * gap_m);
}

double pole_force_n(double flux_density_t, double area_m2) {
  return flux_density_t * flux_density_t * area_m2 / (2.0 * mu0);
}

}  // namespace plexor::physics
