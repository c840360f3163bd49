#pragma once

#include <algorithm>
#include <cstdint>
#include <numeric>
#include <optional>

namespace plexor::base {

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

/// The same from 1 to `most`, where trying a large number is dear: by doubling, then by halving.
/// Nothing if it does not even hold at `most`.
template <typename Predicate>
std::optional<std::uint64_t> first_by_doubling(std::uint64_t most, Predicate holds) {
  std::uint64_t too_small = 0;
  std::uint64_t tried = 1;
  while (!holds(tried)) {
    if (tried == most) return std::nullopt;
    too_small = tried;
    tried = std::min(2 * tried, most);
  }
  return first_where(too_small + 1, tried, holds);
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

}  // namespace plexor::base
