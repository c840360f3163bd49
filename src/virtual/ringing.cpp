#include "virtual/ringing.hpp"

#include <algorithm>

#include "virtual/physics/elementary.hpp"

namespace plexor::virtual_rig {

namespace {

double squared(const Rotor& a) { return a.real * a.real + a.imaginary * a.imaginary; }

}  // namespace

Ringing::Ringing(double hz, double decay_s, base::Duration sample_period, double silence)
    : hz_(hz),
      decay_s_(decay_s),
      silence_squared_(silence * silence),
      step_(turn(base::to_s(sample_period))) {}

/// How a unit oscillation has turned and decayed after a time.
Rotor Ringing::turn(double seconds) const {
  const double decay = physics::exp_minus(std::min(seconds / decay_s_, 700.0));
  const physics::SinCos angle = physics::sin_cos_turns(hz_ * seconds);
  return {decay * angle.cos, decay * angle.sin};
}

void Ringing::excite(const Rotor& amplitude, base::Duration before_next) {
  const Rotor now = product(amplitude, turn(base::to_s(before_next)));
  state_.real += now.real;
  state_.imaginary += now.imaginary;
}

void Ringing::add_to(std::span<double> signal) {
  for (double& sample : signal) {
    if (squared(state_) < silence_squared_) {
      state_ = {};
      return;
    }
    sample += state_.imaginary;
    state_ = product(state_, step_);
  }
}

}  // namespace plexor::virtual_rig
