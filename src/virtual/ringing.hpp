#pragma once

#include <span>

#include "base/time.hpp"

namespace plexor::virtual_rig {

/// A point in the plane of a decaying oscillation; the signal is `imaginary`.
struct Rotor {
  double real = 0.0;
  double imaginary = 0.0;
};

/// Turned and scaled, as complex numbers multiply.
[[nodiscard]] inline Rotor product(const Rotor& a, const Rotor& b) {
  return {a.real * b.real - a.imaginary * b.imaginary, a.real * b.imaginary + a.imaginary * b.real};
}

/// One decaying oscillation, sampled. All blows add into one rotating state, so
/// a sample costs four multiplications however many blows are still ringing.
class Ringing {
 public:
  /// Falls silent (state exactly 0) once the envelope is below `silence`.
  Ringing(double hz, double decay_s, base::Duration sample_period, double silence);

  /// A blow `before_next` ahead of the next sample to be added. `amplitude` of
  /// {a, 0} starts at 0, rising to a; another phase turns it.
  void excite(const Rotor& amplitude, base::Duration before_next);

  [[nodiscard]] bool silent() const { return state_.real == 0.0 && state_.imaginary == 0.0; }

  /// Adds the next samples to `signal`.
  void add_to(std::span<double> signal);

 private:
  [[nodiscard]] Rotor turn(double seconds) const;

  double hz_;
  double decay_s_;
  double silence_squared_;
  Rotor step_;
  Rotor state_;
};

}  // namespace plexor::virtual_rig
