#include "base/basic_math.hpp"

#include <bit>

namespace plexor::base {

namespace {

constexpr double ln_2 = 0.69314718055994530942;

/// exp(x) for x <= 0 by its series on x / 1024 and ten squarings. Every draw, and so every plan,
/// hangs on the last bits of it: no other way to the same figure will do.
double exp_by_squaring(double x) {
  const double y = x / 1024.0;
  double term = 1.0;
  double sum = 1.0;
  for (int n = 1; n < 20; ++n) {
    term *= y / n;
    sum += term;
  }
  for (int i = 0; i < 10; ++i) sum *= sum;
  return sum;
}

}  // namespace

SinCos sin_cos(double x) {
  // Taylor series; at |x| = 4 the 34th term is below 1e-17.
  SinCos sum{0.0, 0.0};
  double term = 1.0;
  for (int n = 0; n < 34; n += 2) {
    const double sign = n % 4 == 0 ? 1.0 : -1.0;
    sum.cos += sign * term;
    term *= x / (n + 1);
    sum.sin += sign * term;
    term *= x / (n + 2);
  }
  return sum;
}

double exp_minus(double x) {
  int halvings = 0;
  while (x > 0.5) {
    x /= 2.0;
    ++halvings;
  }
  double term = 1.0;
  double sum = 1.0;
  for (int n = 1; n < 18; ++n) {
    term *= -x / n;
    sum += term;
  }
  for (; halvings > 0; --halvings) sum *= sum;
  return sum;
}

double exponential_of(double x) { return x < 0.0 ? exp_minus(-x) : 1.0 / exp_minus(x); }

double natural_log(double x) {
  constexpr std::uint64_t fraction_mask = (std::uint64_t{1} << 52) - 1;
  constexpr std::uint64_t exponent_of_one = std::uint64_t{1023} << 52;
  const auto bits = std::bit_cast<std::uint64_t>(x);
  const int exponent = static_cast<int>(bits >> 52) - 1023;
  const double mantissa = std::bit_cast<double>((bits & fraction_mask) | exponent_of_one);
  // ln m = 2 artanh((m - 1) / (m + 1)), whose argument is at most 1/3.
  const double s = (mantissa - 1.0) / (mantissa + 1.0);
  double power = s;
  double sum = 0.0;
  for (int n = 1; n < 40; n += 2) {
    sum += power / n;
    power *= s * s;
  }
  return 2.0 * sum + exponent * ln_2;
}

double normal_density(double z) {
  constexpr double one_over_sqrt_two_pi = 0.39894228040143267794;
  return one_over_sqrt_two_pi * exp_by_squaring(-z * z / 2.0);
}

double normal_upper_tail(double z) {
  if (z < 0.0) return 1.0 - normal_upper_tail(-z);
  if (z < 3.0) {
    double term = z;
    double sum = z;
    for (int n = 1; n < 80; ++n) {
      term *= z * z / (2.0 * n + 1.0);
      sum += term;
    }
    return 0.5 - normal_density(z) * sum;
  }
  double fraction = z;
  for (int n = 120; n >= 1; --n) fraction = z + n / fraction;
  return normal_density(z) / fraction;
}

double unit_interval(std::uint64_t bits) {
  constexpr double two_to_minus_53 = 1.0 / 9007199254740992.0;
  return static_cast<double>((bits >> 11) + 1) * two_to_minus_53;
}

double exponential(std::uint64_t bits) { return -natural_log(unit_interval(bits)); }

}  // namespace plexor::base
