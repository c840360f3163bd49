#pragma once

#include "base/basic_math.hpp"

namespace plexor::physics {

// What basic_math.hpp leaves out, by the same rule: IEEE basic operations
// and square roots only, so that samples are the same bits on every build.

using base::exp_minus;
using base::exponential;
using base::exponential_of;
using base::natural_log;
using base::pi;
using base::sin_cos;
using base::SinCos;
using base::unit_interval;

/// Sine and cosine of a number of turns (1 turn = 2 pi), |turns| below 2^50; error below 1e-14
/// near whole numbers of turns and growing with the rounding of `turns` itself.
[[nodiscard]] SinCos sin_cos_turns(double turns);

/// x^(1/5) for x > 0, relative error below 1e-14.
[[nodiscard]] double fifth_root(double x);

/// x^(3/2) for x >= 0.
[[nodiscard]] double power_1_5(double x);

}  // namespace plexor::physics
