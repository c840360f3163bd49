#include "virtual/physics/plate.hpp"

#include <cmath>

#include "virtual/physics/elementary.hpp"

namespace plexor::physics {

namespace {

double angular_wave_number(const Plate& plate, double frequency_hz) {
  return 2.0 * pi * frequency_hz / wave_speed_m_s(plate, frequency_hz);
}

}  // namespace

double rigidity_nm(const Plate& plate) {
  const double h = plate.thickness_m;
  const Elastic& elastic = plate.material.elastic;
  return elastic.youngs_pa * h * h * h / (12.0 * (1.0 - elastic.poisson * elastic.poisson));
}

double area_density_kg_m2(const Plate& plate) {
  return plate.material.density_kg_m3 * plate.thickness_m;
}

double loss_factor(const Plate& plate) { return plate.material.loss_factor + plate.mounting_loss; }

double infinite_plate_impedance_ns_m(const Plate& plate) {
  return 8.0 * std::sqrt(rigidity_nm(plate) * area_density_kg_m2(plate));
}

double wave_speed_m_s(const Plate& plate, double frequency_hz) {
  const double w = 2.0 * pi * frequency_hz;
  return std::sqrt(std::sqrt(rigidity_nm(plate) * w * w / area_density_kg_m2(plate)));
}

double group_speed_m_s(const Plate& plate, double frequency_hz) {
  return 2.0 * wave_speed_m_s(plate, frequency_hz);
}

double travel_time_s(const Plate& plate, double frequency_hz, double distance_m) {
  return distance_m / group_speed_m_s(plate, frequency_hz);
}

double distance_attenuation(const Plate& plate, double frequency_hz, double distance_m,
                            double reference_m) {
  const double k = angular_wave_number(plate, frequency_hz);
  return std::sqrt(reference_m / distance_m) *
         exponential_of(-k * loss_factor(plate) * (distance_m - reference_m) / 4.0);
}

double amplitude_decay_s(double frequency_hz, double loss_factor) {
  return 1.0 / (pi * frequency_hz * loss_factor);
}

double decay_time_s(double frequency_hz, double loss_factor, double share) {
  return -natural_log(share) * amplitude_decay_s(frequency_hz, loss_factor);
}

double t60_s(double frequency_hz, double loss_factor) {
  return decay_time_s(frequency_hz, loss_factor, 1e-3);
}

double damping_ratio(double first, double later, int periods) {
  const double decrement = natural_log(first / later) / periods;
  return decrement / std::sqrt(4.0 * pi * pi + decrement * decrement);
}

}  // namespace plexor::physics
