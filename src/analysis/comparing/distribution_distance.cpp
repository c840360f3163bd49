#include <algorithm>
#include <cmath>
#include <numbers>

#include "analysis/comparing/differences.hpp"
#include "analysis/comparing/support.hpp"
#include "analysis/comparing/two_sample.hpp"

namespace plexor::analysis {

namespace {

using comparing::number;
using comparing::require_samples;

/// |i m - j n|: how far apart the distributions are behind i of n and j of m values, times n m.
std::uint64_t gap_at(std::uint64_t i, std::uint64_t j, std::uint64_t n, std::uint64_t m) {
  const std::uint64_t a = i * m;
  const std::uint64_t b = j * n;
  return a > b ? a - b : b - a;
}

struct PooledSteps {
  std::uint64_t largest_gap = 0;
  std::vector<bool> ends_tie;  ///< behind k values of the pool, k = 0 .. n + m
};

/// Walks along the pooled values; a tie is one step.
PooledSteps pooled_steps(std::span<const double> first, std::span<const double> second) {
  PooledSteps steps;
  steps.ends_tie.assign(first.size() + second.size() + 1, false);
  for (std::size_t i = 0, j = 0; i < first.size() || j < second.size();) {
    const bool from_first = j == second.size() || (i < first.size() && first[i] <= second[j]);
    const double value = from_first ? first[i] : second[j];
    while (i < first.size() && first[i] == value) ++i;
    while (j < second.size() && second[j] == value) ++j;
    steps.ends_tie[i + j] = true;
    steps.largest_gap = std::max(steps.largest_gap, gap_at(i, j, first.size(), second.size()));
  }
  return steps;
}

/// Kolmogorov's limit, above: by the series that is short for this argument.
double kolmogorov_above(double scaled) {
  constexpr double pi = std::numbers::pi;
  if (scaled <= 0.0) return 1.0;
  double sum = 0.0;
  if (scaled < 1.0) {
    for (int odd = 1; odd < 40; odd += 2)
      sum += std::exp(-odd * odd * pi * pi / (8.0 * scaled * scaled));
    return 1.0 - std::sqrt(2.0 * pi) / scaled * sum;
  }
  for (int k = 1; k < 20; ++k)
    sum += (k % 2 == 1 ? 2.0 : -2.0) * std::exp(-2.0 * k * k * scaled * scaled);
  return sum;
}

/// The variance of the statistic where all samples come from one distribution (Scholz & Stephens
/// 1987).
double anderson_darling_variance(const std::vector<double>& sizes) {
  double all = 0.0;
  double inverse_sizes = 0.0;
  for (const double size : sizes) {
    all += size;
    inverse_sizes += 1.0 / size;
  }
  double harmonic = 0.0;
  double nested = 0.0;
  for (double i = all - 1.0; i >= 1.0; i -= 1.0) {
    nested += harmonic / (all - i);  // harmonic: of all j from i + 1 to all - 1
    harmonic += 1.0 / i;
  }
  const double k = number(sizes.size());
  const double h = harmonic;
  const double g = nested;
  const double a = (4.0 * g - 6.0) * (k - 1.0) + (10.0 - 6.0 * g) * inverse_sizes;
  const double b = (2.0 * g - 4.0) * k * k + 8.0 * h * k +
                   (2.0 * g - 14.0 * h - 4.0) * inverse_sizes - 8.0 * h + 4.0 * g - 6.0;
  const double c = (6.0 * h + 2.0 * g - 2.0) * k * k + (4.0 * h - 4.0 * g + 6.0) * k +
                   (2.0 * h - 6.0) * inverse_sizes + 4.0 * h;
  const double d = (2.0 * h + 6.0) * k * k - 4.0 * h * k;
  const double numerator = ((a * all + b) * all + c) * all + d;
  return numerator / ((all - 1.0) * (all - 2.0) * (all - 3.0));
}

/// One sample's squared distances from the pool, summed over the distinct values but the largest.
double distance_from_pool(const std::vector<double>& sample, const std::vector<double>& pool) {
  const double n = number(sample.size());
  const double all = number(pool.size());
  double sum = 0.0;
  std::size_t own = 0;
  for (std::size_t k = 0; k < pool.size();) {
    const std::size_t from = k;
    while (k < pool.size() && pool[k] == pool[from]) ++k;
    while (own < sample.size() && sample[own] <= pool[from]) ++own;
    const double pooled = number(k);
    const double excess = all * number(own) - n * pooled;
    if (k < pool.size()) sum += number(k - from) * excess * excess / (pooled * (all - pooled));
  }
  return sum / (n * all);
}

}  // namespace

double kolmogorov_smirnov(std::span<const double> first, std::span<const double> second) {
  require_samples(first, second);
  if (first.empty() || second.empty()) return 0.0;
  return number(pooled_steps(first, second).largest_gap) /
         (number(first.size()) * number(second.size()));
}

std::optional<double> kolmogorov_smirnov_exact(std::span<const double> first,
                                               std::span<const double> second) {
  require_samples(first, second);
  const std::size_t n = first.size();
  const std::size_t m = second.size();
  if (n == 0 || m == 0) return 1.0;
  if (n * m > 10'000'000) return std::nullopt;
  const PooledSteps steps = pooled_steps(first, second);
  // Of all orders of i first and j second values: the share that was once as far apart as the seen
  // one.
  std::vector<double> share(m + 1, 0.0);
  for (std::size_t i = 0; i <= n; ++i) {
    for (std::size_t j = 0; j <= m; ++j) {
      if (steps.ends_tie[i + j] && gap_at(i, j, n, m) >= steps.largest_gap)
        share[j] = 1.0;
      else if (i + j > 0)
        share[j] =
            (number(i) * (i > 0 ? share[j] : 0.0) + number(j) * (j > 0 ? share[j - 1] : 0.0)) /
            number(i + j);
    }
  }
  return share[m];
}

double kolmogorov_smirnov_limit(std::span<const double> first, std::span<const double> second) {
  const double distance = kolmogorov_smirnov(first, second);
  if (first.empty() || second.empty()) return 1.0;
  const double n = number(first.size());
  const double m = number(second.size());
  return std::clamp(kolmogorov_above(std::sqrt(n * m / (n + m)) * distance), 0.0, 1.0);
}

AndersonDarling anderson_darling(std::span<const std::vector<double>> samples) {
  comparing::require(samples.size() >= 2, "comparing: at least 2 samples");
  std::vector<double> pool;
  std::vector<double> sizes;
  for (const std::vector<double>& sample : samples) {
    require_samples(sample, sample);
    comparing::require(!sample.empty(), "comparing: a sample without values");
    pool.insert(pool.end(), sample.begin(), sample.end());
    sizes.push_back(number(sample.size()));
  }
  comparing::require(pool.size() >= 4, "comparing: at least 4 values");
  std::ranges::sort(pool);
  AndersonDarling result;
  for (const std::vector<double>& sample : samples)
    result.statistic += distance_from_pool(sample, pool);
  const double mean = number(samples.size()) - 1.0;
  result.standardised = (result.statistic - mean) / std::sqrt(anderson_darling_variance(sizes));
  return result;
}

}  // namespace plexor::analysis
