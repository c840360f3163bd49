#pragma once

#include <cstdint>

namespace plexor::base {

// Elementary functions of IEEE basic operations only: the same bits on every
// build, which libm does not promise. For plans and for what comes a few times per tap.

struct SinCos {
  double sin;
  double cos;
};

inline constexpr double pi = 3.14159265358979323846;

/// Sine and cosine for |x| <= 4, error below 1e-14.
[[nodiscard]] SinCos sin_cos(double x);

/// exp(-x) for 0 <= x <= 700, relative error below 1e-12.
[[nodiscard]] double exp_minus(double x);

/// exp(x) for |x| <= 700, relative error below 1e-12.
[[nodiscard]] double exponential_of(double x);

/// Natural logarithm of a positive normal number, error below 1e-14 relative to max(1, |ln x|).
[[nodiscard]] double natural_log(double x);

/// Density of the standard normal distribution.
[[nodiscard]] double normal_density(double z);

/// Probability that a standard normal deviate exceeds z, for |z| <= 35; relative error below
/// 1e-10. Abramowitz & Stegun 1964, 26.2.11 near the middle, 26.2.14 further out.
[[nodiscard]] double normal_upper_tail(double z);

/// Uniform in (0, 1], from the upper 53 of 64 random bits.
[[nodiscard]] double unit_interval(std::uint64_t bits);

/// Exponential deviate of mean 1 from 64 random bits: -ln of a uniform.
[[nodiscard]] double exponential(std::uint64_t bits);

}  // namespace plexor::base
