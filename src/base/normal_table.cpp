#include <array>
#include <bit>
#include <cstddef>

#include "base/basic_math.hpp"
#include "base/random.hpp"

namespace plexor::base {

namespace {

// Only +, -, * and / of IEEE doubles (contraction is off, see CMakeLists.txt):
// the same table on every machine, which libm would not promise.

constexpr int octaves = 62;
constexpr int cells = 64;

/// Newton steps from below; the tail is convex there, so they do not overshoot.
double quantile(double tail, double start) {
  double z = start;
  for (int i = 0; i < 12; ++i) z += (normal_upper_tail(z) - tail) / normal_density(z);
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
