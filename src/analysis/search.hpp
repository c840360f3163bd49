#pragma once

#include <cstdint>
#include <numeric>

namespace plexor::analysis {

/// The first number in [low, high) for which `holds`, which must stay true from there on; `high` if
/// there is none.
template <typename Predicate>
std::uint64_t first_where(std::uint64_t low, std::uint64_t high, Predicate holds) {
  while (low < high) {
    const std::uint64_t middle = low + (high - low) / 2;
    if (holds(middle))
      high = middle;
    else
      low = middle + 1;
  }
  return low;
}

/// Where in [low, high] a condition ends that holds at first and then no more: to the last digit,
/// or to 2^-120 of the range where that is coarser.
template <typename Predicate>
double last_where(double low, double high, Predicate holds) {
  for (int halving = 0; halving < 120; ++halving) {
    const double middle = std::midpoint(low, high);
    if (middle == low || middle == high) break;
    (holds(middle) ? low : high) = middle;
  }
  return std::midpoint(low, high);
}

}  // namespace plexor::analysis
