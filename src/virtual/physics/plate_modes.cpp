#include <algorithm>
#include <cmath>
#include <cstddef>
#include <iterator>
#include <stdexcept>
#include <tuple>

#include "virtual/physics/elementary.hpp"
#include "virtual/physics/plate.hpp"

namespace plexor::physics {

namespace {

/// sqrt(D / (rho h))
double stiffness_root(const Plate& plate) {
  return std::sqrt(rigidity_nm(plate) / area_density_kg_m2(plate));
}

/// Warburton's coefficients of a beam clamped at both ends, for a number of half waves.
struct ClampedBeam {
  double g;
  double h;
};

ClampedBeam clamped_beam(int half_waves) {
  if (half_waves == 1) return {1.506, 1.248};
  const double g = half_waves + 0.5;
  return {g, g * g * (1.0 - 2.0 / (g * pi))};
}

/// (f / sqrt(D/(rho h)))^2 (2/pi)^2 for edges clamped all round.
double clamped_square_sum(const Plate& plate, int m, int n) {
  const ClampedBeam along = clamped_beam(m);
  const ClampedBeam across = clamped_beam(n);
  const double a2 = plate.length_m * plate.length_m;
  const double b2 = plate.width_m * plate.width_m;
  const double along2 = along.g * along.g / a2;
  const double across2 = across.g * across.g / b2;
  return along2 * along2 + across2 * across2 + 2.0 * along.h * across.h / (a2 * b2);
}

double simply_supported_sum(const Plate& plate, int m, int n) {
  const double along = m / plate.length_m;
  const double across = n / plate.width_m;
  return along * along + across * across;
}

}  // namespace

double mode_hz(const Plate& plate, int m, int n) {
  const double sum = plate.edges == Edges::clamped ? std::sqrt(clamped_square_sum(plate, m, n))
                                                   : simply_supported_sum(plate, m, n);
  return plate.edge_factor * pi / 2.0 * sum * stiffness_root(plate);
}

double clamped_square_hz(const Plate& plate, int n) {
  static constexpr double lambda[] = {35.99, 73.41, 73.41, 108.27, 131.64, 132.24};
  if (n < 1 || n > static_cast<int>(std::size(lambda))) {
    throw std::logic_error("clamped square: six modes are known");
  }
  return lambda[static_cast<std::size_t>(n) - 1] / (2.0 * pi * plate.length_m * plate.length_m) *
         stiffness_root(plate);
}

double mode_shape(const Plate& plate, int m, int n, const Spot& spot) {
  return sin_cos_turns(0.5 * m * spot.along_m / plate.length_m).sin *
         sin_cos_turns(0.5 * n * spot.across_m / plate.width_m).sin;
}

std::vector<PlateMode> ringing_modes(const Plate& plate, const Spot& tap, const Spot& sensor,
                                     double highest_hz) {
  const double modal_mass_kg = area_density_kg_m2(plate) * plate.length_m * plate.width_m / 4.0;
  std::vector<PlateMode> modes;
  for (int m = 1; mode_hz(plate, m, 1) <= highest_hz; ++m) {
    for (int n = 1;; ++n) {
      const double hz = mode_hz(plate, m, n);
      if (hz > highest_hz) break;
      const double shapes = mode_shape(plate, m, n, tap) * mode_shape(plate, m, n, sensor);
      modes.push_back(
          {m, n, hz, amplitude_decay_s(hz, loss_factor(plate)), shapes / modal_mass_kg});
    }
  }
  std::sort(modes.begin(), modes.end(), [](const PlateMode& a, const PlateMode& b) {
    return std::tie(a.hz, a.m, a.n) < std::tie(b.hz, b.m, b.n);
  });
  return modes;
}

}  // namespace plexor::physics
