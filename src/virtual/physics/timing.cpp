#include "virtual/physics/timing.hpp"

#include <cmath>

namespace plexor::physics {

double serial_line_time_s(int characters, double baud) {
  constexpr int bits_per_character = 10;
  return characters * bits_per_character / baud;
}

double dtim_longest_wait_s(double beacon_tu, int dtim) {
  constexpr double time_unit_s = 1.024e-3;
  return beacon_tu * time_unit_s * dtim;
}

double rectangular_uncertainty(double full_width) { return full_width / (2.0 * std::sqrt(3.0)); }

double combined_uncertainty(std::span<const double> standard_uncertainties) {
  double sum = 0.0;
  for (const double u : standard_uncertainties) sum += u * u;
  return std::sqrt(sum);
}

}  // namespace plexor::physics
