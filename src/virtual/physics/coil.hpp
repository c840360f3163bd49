#pragma once

namespace plexor::physics {

// A coil whose plunger stands still, and its pull: closed forms. SI units.

/// A resistance and an inductance in series.
struct FixedCoil {
  double resistance_ohm = 0.0;
  double inductance_h = 0.0;
};

/// Current a time after switching on from 0 A: V/R (1 - exp(-R t/L)).
[[nodiscard]] double rising_current_a(const FixedCoil& coil, double supply_v, double time_s);

/// Time from switching on until the current is reached: -(L/R) ln(1 - I R/V).
/// Needs a current below V/R.
[[nodiscard]] double time_to_current_s(const FixedCoil& coil, double supply_v, double current_a);

/// Current a time after switching off into a constant clamp voltage:
/// (I0 + Vc/R) exp(-R t/L) - Vc/R, and 0 from then on. Use 0.9 V for a plain
/// silicon diode at 0.1 to 0.8 A, the zener voltage on top of it if there is one.
[[nodiscard]] double freewheel_current_a(const FixedCoil& coil, double start_a, double clamp_v,
                                         double time_s);

/// Time from switching off until the current has fallen to `current_a`:
/// (L/R) ln((I0 + Vc/R) / (I + Vc/R)).
[[nodiscard]] double time_of_decay_s(const FixedCoil& coil, double start_a, double clamp_v,
                                     double current_a);

/// Energy in the field: L I^2 / 2.
[[nodiscard]] double stored_energy_j(const FixedCoil& coil, double current_a);

/// Pull across an air gap without saturation: mu0 A (N I)^2 / (2 (g + g0)^2).
/// `gap_m` is g + g0: the air gap plus what iron and shim are worth.
[[nodiscard]] double gap_force_n(double turns, double current_a, double area_m2, double gap_m);

/// Pull of a pole face at a flux density: B^2 A / (2 mu0). With the saturation
/// flux density of the iron, what no current can exceed (from memory: magnetics texts).
[[nodiscard]] double pole_force_n(double flux_density_t, double area_m2);

}  // namespace plexor::physics
