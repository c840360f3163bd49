#include "analysis/comparing/differences.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <functional>

#include "analysis/comparing/support.hpp"
#include "base/search.hpp"

namespace plexor::analysis::comparing {

namespace {

/// Whole numbers in the order of the doubles, from -infinity to +infinity.
constexpr std::uint64_t sign_bit = std::uint64_t{1} << 63U;
std::uint64_t order_of(double value) {
  const auto bits = std::bit_cast<std::uint64_t>(value);
  return (bits & sign_bit) != 0 ? ~bits : bits | sign_bit;
}
double of_order(std::uint64_t order) {
  return std::bit_cast<double>((order & sign_bit) != 0 ? order & ~sign_bit : ~order);
}

bool is_sorted_without_nan(std::span<const double> sample) {
  return sample.empty() ||
         (!std::isnan(sample.front()) &&
          std::ranges::adjacent_find(sample, std::not_fn(std::less_equal<>())) == sample.end());
}

}  // namespace

void require_samples(std::span<const double> first, std::span<const double> second) {
  for (const auto& sample : {first, second})
    require(is_sorted_without_nan(sample), "comparing: a sample must be sorted, without NaN");
}

std::uint64_t Differences::at_most(double value) const {
  std::uint64_t counted = 0;
  std::size_t above = 0;  // how many of the second give more than the value
  for (const double x : first_) {
    while (above < second_.size() && difference(x, second_[above]) > value) ++above;
    counted += second_.size() - above;
  }
  return counted;
}

double Differences::next_above(double value) const {
  double nearest = value;
  std::size_t above = 0;
  for (const double x : first_) {
    while (above < second_.size() && difference(x, second_[above]) > value) ++above;
    if (above == 0) continue;
    const double candidate = difference(x, second_[above - 1]);
    if (nearest == value || candidate < nearest) nearest = candidate;
  }
  return nearest;
}

double Differences::at_rank(std::uint64_t rank) const {
  const std::uint64_t least = order_of(difference(first_.front(), second_.back()));
  const std::uint64_t most = order_of(difference(first_.back(), second_.front()));
  const std::uint64_t order = base::first_where(
      least, most, [&](std::uint64_t candidate) { return at_most(of_order(candidate)) >= rank; });
  return of_order(order) + 0.0;  // never -0
}

}  // namespace plexor::analysis::comparing
