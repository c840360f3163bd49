#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <vector>

#include "base/random.hpp"

// Slow and plain ways to say what the comparisons should say.

namespace plexor::analysis {

inline double log_choose(std::uint64_t n, std::uint64_t k) {
  const auto log_factorial = [](std::uint64_t i) {
    return std::lgamma(static_cast<double>(i) + 1.0);
  };
  return log_factorial(n) - log_factorial(k) - log_factorial(n - k);
}

inline double binomial_mass(std::uint64_t k, std::uint64_t n, double p) {
  const auto log_power = [](double base, std::uint64_t exponent) {
    return exponent == 0 ? 0.0 : static_cast<double>(exponent) * std::log(base);
  };
  return std::exp(log_choose(n, k) + log_power(p, k) + log_power(1.0 - p, n - k));
}

inline double poisson_mass(std::uint64_t k, double mean) {
  const auto count = static_cast<double>(k);
  return std::exp(count * std::log(mean) - mean - std::lgamma(count + 1.0));
}

/// Draws that are the same in every run.
class Draws {
 public:
  explicit Draws(std::uint64_t seed) : key_{.seed = seed} {}

  std::uint64_t below(std::uint64_t end) {
    ++key_.trial;
    return static_cast<std::uint64_t>(
        base::uniform_between(key_, 0, static_cast<std::int64_t>(end) - 1));
  }
  double uniform() { return (static_cast<double>(below(1ULL << 52U)) + 0.5) * 0x1p-52; }

 private:
  base::DrawKey key_;
};

/// Calls `visit(chosen)` for each way to mark `marked` of `count` places.
template <typename Visit>
void for_each_choice(std::size_t count, std::size_t marked, Visit visit) {
  std::vector<bool> chosen(count, false);
  std::fill(chosen.end() - static_cast<std::ptrdiff_t>(marked), chosen.end(), true);
  do {
    visit(chosen);
  } while (std::next_permutation(chosen.begin(), chosen.end()));
}

}  // namespace plexor::analysis
