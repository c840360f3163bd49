#pragma once

#include <vector>

#include "virtual/physics/materials.hpp"

namespace plexor::physics {

// Bending of a thin, isotropic, rectangular plate. SI units.
//
// Limits of the model: orthotropic wood, ribs, cut-outs and real edges are not in
// it. Expect frequencies within a factor of 1.5 at best.

enum class Edges { simply_supported, clamped };

struct Plate {
  Material material;
  double length_m = 0.0;
  double width_m = 0.0;
  double thickness_m = 0.0;
  Edges edges = Edges::simply_supported;
  /// Multiplies all frequencies, for edges that are neither: below 1 for edges
  /// that are partly free (table tops), above 1 between simply supported and clamped.
  double edge_factor = 1.0;
  double mounting_loss = 0.0;  ///< loss factor on top of the material's
};

/// Bending rigidity D = E h^3 / (12 (1 - nu^2)), in N m.
[[nodiscard]] double rigidity_nm(const Plate& plate);
/// Mass per area, rho h.
[[nodiscard]] double area_density_kg_m2(const Plate& plate);
/// Material and mounting together.
[[nodiscard]] double loss_factor(const Plate& plate);

/// Natural frequency with m and n half waves along length and width, both from 1.
/// Simply supported: (pi/2) ((m/a)^2 + (n/b)^2) sqrt(D/(rho h)), exact.
/// Clamped: Warburton 1954 (Proc. IMechE 168), from memory; within 0.7 % of
/// Leissa's values for the square (tested). Times the edge factor.
[[nodiscard]] double mode_hz(const Plate& plate, int m, int n);

/// Frequency of the n-th mode (from 1, six are known) of a clamped square:
/// lambda / (2 pi a^2) sqrt(D/(rho h)) with lambda 35.99, 73.41, 73.41, 108.27,
/// 131.64, 132.24 (Leissa 1973, J. Sound Vib. 31; from memory, and within 0.04 %
/// of a Ritz computation). Looks at the length only. Throws std::logic_error
/// for another n.
[[nodiscard]] double clamped_square_hz(const Plate& plate, int n);

/// Driving-point impedance of the infinite plate, 8 sqrt(D rho h), in N s/m (from
/// memory: Cremer, Heckl, Structure-borne Sound).
[[nodiscard]] double infinite_plate_impedance_ns_m(const Plate& plate);

/// Bending wave speed (D w^2 / (rho h))^(1/4); the energy travels twice as fast.
[[nodiscard]] double wave_speed_m_s(const Plate& plate, double frequency_hz);
[[nodiscard]] double group_speed_m_s(const Plate& plate, double frequency_hz);
/// Distance over group speed.
[[nodiscard]] double travel_time_s(const Plate& plate, double frequency_hz, double distance_m);

/// Free-field amplitude at a distance relative to that at `reference_m`:
/// sqrt(r0/r) exp(-k eta (r - r0)/4) (from memory: Cremer, Heckl). Beyond about
/// 0.3 m a finite top is reverberant, and nodal lines matter more than distance.
[[nodiscard]] double distance_attenuation(const Plate& plate, double frequency_hz,
                                          double distance_m, double reference_m);

/// A spot on the plate, from the same corner.
struct Spot {
  double along_m = 0.0;
  double across_m = 0.0;
};

/// One mode as an impulse at the tap rings it up at the sensor.
struct PlateMode {
  int m = 0;
  int n = 0;
  double hz = 0.0;
  double decay_s = 0.0;  ///< of the amplitude, to 1/e
  /// Velocity amplitude for an impulse of 1 N s, with the sign of the two mode
  /// shapes: phi(tap) phi(sensor) / M, M = rho h a b / 4.
  double velocity_per_impulse = 0.0;
};

/// The modes up to `highest_hz`, lowest first. Mode shapes are sin(m pi x/a)
/// sin(n pi y/b): exact for simply supported edges, an approximation otherwise.
/// A blow that lasts excites a mode by half_sine_spectrum(hz, contact time) less.
[[nodiscard]] std::vector<PlateMode> ringing_modes(const Plate& plate, const Spot& tap,
                                                   const Spot& sensor, double highest_hz);

/// sin(m pi x/a) sin(n pi y/b)
[[nodiscard]] double mode_shape(const Plate& plate, int m, int n, const Spot& spot);

// Damping. Amplitudes fall as exp(-pi f eta t).

/// Time constant of the amplitude, 1/(pi f eta).
[[nodiscard]] double amplitude_decay_s(double frequency_hz, double loss_factor);
/// Time in which the amplitude falls to this share (0 to 1).
[[nodiscard]] double decay_time_s(double frequency_hz, double loss_factor, double share);
/// Reverberation time, to 1/1000: 2.2/(f eta).
[[nodiscard]] double t60_s(double frequency_hz, double loss_factor);
/// Damping ratio from amplitudes `periods` apart: d/sqrt(4 pi^2 + d^2) with d = ln(first/later)/n.
[[nodiscard]] double damping_ratio(double first, double later, int periods);

}  // namespace plexor::physics
