#pragma once

#include <cstdint>
#include <span>

#include "base/time.hpp"
#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// One decaying oscillation, sampled. All blows add into one rotating state, so
/// a sample costs four multiplications however many blows are still ringing.
class Ringing {
 public:
  /// Falls silent (state exactly 0) once the envelope is below `silence_mv`.
  Ringing(const Mode& mode, base::Duration sample_period, double silence_mv);

  /// A blow of this amplitude, `before_next` ahead of the next sample to be added.
  /// The oscillation starts at 0, rising.
  void excite(double amplitude_mv, base::Duration before_next);

  [[nodiscard]] bool silent() const { return real_ == 0.0 && imaginary_ == 0.0; }

  /// Adds the next samples to `signal_mv`.
  void add_to(std::span<double> signal_mv);

 private:
  Mode mode_;
  double silence_squared_;
  double turn_real_;
  double turn_imaginary_;
  double real_ = 0.0;
  double imaginary_ = 0.0;
};

}  // namespace plexor::virtual_rig
