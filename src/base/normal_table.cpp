#include <array>
#include <bit>
#include <cstddef>

#include "base/random.hpp"

namespace plexor::base {

namespace {

// Only +, -, * and / of IEEE doubles (contraction is off, see CMakeLists.txt):
// the same table on every machine, which libm would not promise.

constexpr int octaves = 62;
constexpr int cells = 64;
constexpr double one_over_sqrt_two_pi = 0.39894228040143267794;

/// exp(-x) for x >= 0 by its series on x / 1024 and ten squarings.
double exp_minus(double x) {
  const double y = -x / 1024.0;
  double term = 1.0;
  double sum = 1.0;
  for (int n = 1; n < 20; ++n) {
    term *= y / n;
    sum += term;
  }
  for (int i = 0; i < 10; ++i) sum *= sum;
  return sum;
}

double density(double z) { return one_over_sqrt_two_pi * exp_minus(z * z / 2.0); }

/// Upper tail probability of the standard normal for z >= 0: the series of
/// Abramowitz & Stegun 26.2.11 near the middle, the continued fraction 26.2.14 further out.
double upper_tail(double z) {
  if (z < 3.0) {
    double term = z;
    double sum = z;
    for (int n = 1; n < 80; ++n) {
      term *= z * z / (2.0 * n + 1.0);
      sum += term;
    }
    return 0.5 - density(z) * sum;
  }
  double fraction = z;
  for (int n = 120; n >= 1; --n) fraction = z + n / fraction;
  return density(z) / fraction;
}

/// Newton steps from below; the tail is convex there, so they do not overshoot.
double quantile(double tail, double start) {
  double z = start;
  for (int i = 0; i < 12; ++i) z += (upper_tail(z) - tail) / density(z);
  return z;
}

using Table = std::array<std::int64_t, std::size_t{octaves} * cells + 1>;

/// Entry octave * cells + cell: quantile of the tail 2^-(octave+1) * (1 - cell / (2 * cells)).
Table make_table() {
  Table table{};
  double z = 0.0;
  double octave_top = 0.5;
  for (std::size_t i = 1; i < table.size(); ++i) {
    const std::size_t cell = i % cells;
    if (cell == 0) octave_top /= 2.0;
    z = quantile(octave_top * (1.0 - static_cast<double>(cell) / (2.0 * cells)), z);
    table[i] = static_cast<std::int64_t>(z * 4294967296.0 + 0.5);
  }
  return table;
}

}  // namespace

std::int64_t normal_q32(std::uint64_t bits) {
  static const Table table = make_table();
  const bool negative = (bits >> 63) != 0;
  const std::uint64_t tail_bits = bits << 1;  // 63 uniform bits, left-aligned
  const int octave = std::countl_zero(tail_bits);
  if (octave >= octaves) return negative ? -table.back() : table.back();
  // Below the leading one: position inside the octave, 1 at the top of the tail.
  const std::uint64_t inside = ~(tail_bits << (octave + 1));
  const auto index = static_cast<std::size_t>(octave) * cells + (inside >> 58);
  const auto between = static_cast<std::int64_t>((inside << 6) >> 32);
  const std::int64_t step = table[index + 1] - table[index];
  const std::int64_t z = table[index] + scale_q32(step, between);
  return negative ? -z : z;
}

}  // namespace plexor::base
