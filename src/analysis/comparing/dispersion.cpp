#include "analysis/comparing/dispersion.hpp"

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/poisson.hpp>
#include <cmath>
#include <optional>
#include <utility>
#include <vector>

#include "analysis/comparing/counts.hpp"
#include "analysis/comparing/support.hpp"

namespace plexor::analysis {

namespace {

using comparing::number;

/// One unit, given the common rate: the probability of each of its counts, and what it is expected
/// to have. Given the total, the statistic grows with the sum of count^2 / expected.
struct ScatteringUnit {
  std::uint64_t count = 0;
  double expected = 0.0;
  comparing::ListedCounts listed = {};
};

/// How many quanta make 1, so that sums of count^2 / expected are whole numbers and equal ones meet
/// although they were added in another order: units whose sizes have a small ratio give whole
/// numbers without rounding, and for the others some 10^13 quanta make the seen sum.
double fine_scale(const std::vector<ScatteringUnit>& units, double seen) {
  constexpr double divisible_by_1_to_16 = 720'720.0;
  constexpr double enough_quanta = 1e13;
  constexpr double most_quanta = 1e17;  // two of them still fit 64 bits
  double largest = 0.0;
  for (const ScatteringUnit& unit : units) largest = std::max(largest, unit.expected);
  double scale = largest * divisible_by_1_to_16;
  while (scale * seen < enough_quanta) scale *= 2.0;
  return std::min(scale, most_quanta / seen);
}

/// All arrangements of the units so far, by their sum and their scatter. Those that can no longer
/// scatter less than the seen one, however even the rest falls, are counted together: few others
/// are left unless the seen scatter is large.
class ScatterCount {
 public:
  ScatterCount(std::uint64_t total, double scale, std::int64_t extreme)
      : by_sum_(total + 1), scale_(scale), extreme_(extreme) {
    by_sum_[0].emplace_back(0, 1.0);
  }

  /// `expected_left`: of the units that are still to come. False where it would take too long.
  bool add(const ScatteringUnit& unit, double expected_left) {
    std::vector<Scatters> next(by_sum_.size());
    for (std::size_t sum = 0; sum < by_sum_.size(); ++sum) {
      const std::vector<double> from = weights_from(by_sum_[sum]);
      const std::size_t end =
          std::min(unit.listed.first + unit.listed.probability.size(), by_sum_.size() - sum);
      for (std::size_t count = unit.listed.first; count < end && from.front() > 0.0; ++count) {
        const std::int64_t step = quanta(number(count), unit.expected);
        const std::int64_t limit = extreme_ - step - least_to_come(sum + count, expected_left);
        const auto extreme = std::ranges::lower_bound(by_sum_[sum], limit, {}, &Scatter::first);
        const auto kept = static_cast<std::size_t>(extreme - by_sum_[sum].begin());
        const double probability = unit.listed.probability[count - unit.listed.first];
        Scatters& target = next[sum + count];
        for (std::size_t i = 0; i < kept; ++i)
          target.emplace_back(by_sum_[sum][i].first + step, by_sum_[sum][i].second * probability);
        target.emplace_back(extreme_, from[kept] * probability);
        steps_ += kept + 1;
      }
      if (steps_ > most_steps) return false;
    }
    for (Scatters& scatters : next) join_equal(scatters);
    by_sum_ = std::move(next);
    return true;
  }

  /// Of the arrangements of the whole total, the share that scatters at least as the seen one.
  [[nodiscard]] double extreme_share() const {
    double all = 0.0;
    double extreme = 0.0;
    for (const auto& [scatter, weight] : by_sum_.back()) {
      all += weight;
      if (scatter >= extreme_) extreme += weight;
    }
    return extreme / all;
  }

 private:
  using Scatter = std::pair<std::int64_t, double>;  ///< with its weight
  using Scatters = std::vector<Scatter>;            ///< sorted
  static constexpr std::size_t most_steps = 2'000'000;

  /// The weight of all scatters from the i-th on; 0 behind the last.
  static std::vector<double> weights_from(const Scatters& scatters) {
    std::vector<double> sums(scatters.size() + 1, 0.0);
    for (std::size_t i = scatters.size(); i-- > 0;) sums[i] = sums[i + 1] + scatters[i].second;
    return sums;
  }
  static void join_equal(Scatters& scatters) {
    std::ranges::sort(scatters);
    std::size_t last = 0;
    for (std::size_t i = 1; i < scatters.size(); ++i) {
      if (scatters[i].first == scatters[last].first)
        scatters[last].second += scatters[i].second;
      else
        scatters[++last] = scatters[i];
    }
    if (!scatters.empty()) scatters.resize(last + 1);
  }
  [[nodiscard]] std::int64_t quanta(double count, double expected) const {
    return std::llround(std::min(count * count / expected * scale_, static_cast<double>(extreme_)));
  }
  [[nodiscard]] std::int64_t least_to_come(std::size_t sum, double expected_left) const {
    return expected_left > 0.0 ? quanta(number(by_sum_.size() - 1 - sum), expected_left) : 0;
  }

  std::vector<Scatters> by_sum_;  ///< by the successes so far
  double scale_;
  std::int64_t extreme_;  ///< the scatter from which on an arrangement is extreme
  std::size_t steps_ = 0;
};

std::optional<double> exact_scatter(const std::vector<ScatteringUnit>& units, std::uint64_t total) {
  constexpr std::uint64_t most_total = 20'000;
  constexpr double tie = 1e-9;
  if (total > most_total) return std::nullopt;
  double seen = 0.0;
  double expected_left = 0.0;
  for (const ScatteringUnit& unit : units) {
    seen += number(unit.count) * number(unit.count) / unit.expected;
    expected_left += unit.expected;
  }
  const double scale = fine_scale(units, seen);
  ScatterCount counting(total, scale, std::llround(seen * scale * (1.0 - tie)));
  for (std::size_t i = 0; i < units.size(); ++i) {
    expected_left -= units[i].expected;
    if (!counting.add(units[i], i + 1 < units.size() ? expected_left : 0.0)) return std::nullopt;
  }
  return counting.extreme_share();
}

/// The variance of a count is its expectation times `variance_share`.
Dispersion scatter_of(const std::vector<ScatteringUnit>& units, std::uint64_t total,
                      double variance_share) {
  Dispersion result{.degrees = std::max(1.0, number(units.size())) - 1.0};
  if (units.size() < 2) return result;
  for (const ScatteringUnit& unit : units) {
    const double excess = number(unit.count) - unit.expected;
    result.chi_square += excess * excess / (unit.expected * variance_share);
  }
  const std::optional<double> exact = exact_scatter(units, total);
  result.exact = exact.has_value();
  result.p =
      exact.value_or(cdf(complement(boost::math::chi_squared(result.degrees), result.chi_square)));
  return result;
}

}  // namespace

Dispersion dispersion_of(std::span<const Successes> units) {
  comparing::require(units.size() >= 2, "comparing: at least 2 units");
  Successes all;
  for (const Successes& unit : units) {
    comparing::require_successes(unit);
    all = {all.x + unit.x, all.n + unit.n};
  }
  // Failures scatter as successes do; the rarer of both are quicker to count.
  const bool failures = 2 * all.x > all.n;
  const std::uint64_t total = failures ? all.n - all.x : all.x;
  const double rate = number(total) / number(all.n);
  if (total == 0) return {.degrees = number(units.size()) - 1.0, .exact = true};
  std::vector<ScatteringUnit> scattering;
  for (const Successes& unit : units) {
    if (unit.n == 0) continue;
    ScatteringUnit one{.count = failures ? unit.n - unit.x : unit.x,
                       .expected = rate * number(unit.n)};
    const boost::math::binomial counts(number(unit.n), rate);
    one.listed =
        comparing::list_counts(one.expected, std::min(unit.n, total),
                               [&](std::uint64_t count) { return pdf(counts, number(count)); });
    scattering.push_back(std::move(one));
  }
  return scatter_of(scattering, total, 1.0 - rate);
}

Dispersion dispersion_of(std::span<const Events> units) {
  comparing::require(units.size() >= 2, "comparing: at least 2 units");
  Events all{.count = 0, .exposure = 0.0};
  for (const Events& unit : units) {
    comparing::require(unit.exposure > 0.0 && std::isfinite(unit.exposure),
                       "comparing: an exposure must be above 0 and finite");
    all = {all.count + unit.count, all.exposure + unit.exposure};
  }
  if (all.count == 0) return {.degrees = number(units.size()) - 1.0, .exact = true};
  std::vector<ScatteringUnit> scattering;
  for (const Events& unit : units) {
    ScatteringUnit one{.count = unit.count,
                       .expected = number(all.count) * unit.exposure / all.exposure};
    const boost::math::poisson counts(one.expected);
    one.listed = comparing::list_counts(
        one.expected, all.count, [&](std::uint64_t count) { return pdf(counts, number(count)); });
    scattering.push_back(std::move(one));
  }
  return scatter_of(scattering, all.count, 1.0);
}

}  // namespace plexor::analysis
