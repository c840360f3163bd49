#include "virtual/ringing.hpp"

#include "virtual/physics/basic_math.hpp"

namespace plexor::virtual_rig {

namespace {

struct Rotor {
  double real;
  double imaginary;
};

/// How a unit oscillation has turned and decayed after `elapsed`, less than half a cycle.
Rotor after(const Mode& mode, base::Duration elapsed) {
  const double decay = physics::exp_minus(base::to_s(elapsed) / base::to_s(mode.ring));
  const physics::SinCos angle =
      physics::sin_cos(2.0 * physics::pi * mode.ring_hz * base::to_s(elapsed));
  return {decay * angle.cos, decay * angle.sin};
}

}  // namespace

Ringing::Ringing(const Mode& mode, base::Duration sample_period, double silence_mv)
    : mode_(mode),
      silence_squared_(silence_mv * silence_mv),
      turn_real_(after(mode, sample_period).real),
      turn_imaginary_(after(mode, sample_period).imaginary) {}

void Ringing::excite(double amplitude_mv, base::Duration before_next) {
  const Rotor start = after(mode_, before_next);
  real_ += amplitude_mv * start.real;
  imaginary_ += amplitude_mv * start.imaginary;
}

void Ringing::add_to(std::span<double> signal_mv) {
  for (double& sample : signal_mv) {
    if (real_ * real_ + imaginary_ * imaginary_ < silence_squared_) {
      real_ = imaginary_ = 0.0;
      return;
    }
    sample += imaginary_;
    const double real = real_ * turn_real_ - imaginary_ * turn_imaginary_;
    imaginary_ = real_ * turn_imaginary_ + imaginary_ * turn_real_;
    real_ = real;
  }
}

}  // namespace plexor::virtual_rig
