#include "analysis/comparing/multiplicity.hpp"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <numeric>

#include "analysis/comparing/support.hpp"
#include "analysis/comparing/two_proportions.hpp"

namespace plexor::analysis {

namespace {

using comparing::number;

/// By what the p-value of this rank (from 1, smallest first) of `count` is multiplied.
double factor_of_rank(Adjustment adjustment, std::uint64_t rank, std::uint64_t count) {
  switch (adjustment) {
    case Adjustment::bonferroni: return number(count);
    case Adjustment::holm:
    case Adjustment::hochberg: return number(count + 1 - rank);
    case Adjustment::benjamini_hochberg: return number(count) / number(rank);
    case Adjustment::benjamini_yekutieli: break;
  }
  double harmonic = 0.0;
  for (std::uint64_t i = 1; i <= count; ++i) harmonic += 1.0 / number(i);
  return harmonic * number(count) / number(rank);
}

/// Holm goes on from the smallest p-value until one is not rejected; the others come from the
/// largest.
bool steps_down(Adjustment adjustment) {
  return adjustment == Adjustment::holm || adjustment == Adjustment::bonferroni;
}

std::vector<UnitDeviation> with_adjusted(std::vector<UnitDeviation> units) {
  std::vector<double> p_values(units.size());
  std::ranges::transform(units, p_values.begin(), &UnitDeviation::p);
  const std::vector<double> holm = adjusted(p_values, Adjustment::holm);
  for (std::size_t i = 0; i < units.size(); ++i) units[i].adjusted_p = holm[i];
  return units;
}

}  // namespace

std::vector<double> adjusted(std::span<const double> p_values, Adjustment adjustment) {
  for (const double p : p_values)
    comparing::require(p >= 0.0 && p <= 1.0, "comparing: p-values lie in [0, 1]");
  std::vector<std::size_t> order(p_values.size());
  std::iota(order.begin(), order.end(), std::size_t{0});
  std::ranges::stable_sort(order, {}, [&](std::size_t i) { return p_values[i]; });
  std::vector<double> result(p_values.size());
  for (std::size_t k = 0; k < order.size(); ++k)
    result[order[k]] =
        std::min(1.0, p_values[order[k]] * factor_of_rank(adjustment, k + 1, order.size()));
  if (steps_down(adjustment)) {
    for (std::size_t k = 1; k < order.size(); ++k)
      result[order[k]] = std::max(result[order[k]], result[order[k - 1]]);
  } else {
    for (std::size_t k = order.size(); k-- > 1;)
      result[order[k - 1]] = std::min(result[order[k - 1]], result[order[k]]);
  }
  return result;
}

std::uint64_t rejections(std::span<const double> adjusted_p, double alpha) {
  return static_cast<std::uint64_t>(
      std::ranges::count_if(adjusted_p, [&](double p) { return p <= alpha * (1.0 + 1e-12); }));
}

std::vector<UnitDeviation> deviations(std::span<const Successes> units) {
  comparing::require(units.size() >= 2, "comparing: at least 2 units");
  Successes all;
  for (const Successes& unit : units) {
    comparing::require_successes(unit);
    all = {all.x + unit.x, all.n + unit.n};
  }
  std::vector<UnitDeviation> result;
  for (std::size_t i = 0; i < units.size(); ++i) {
    const Successes others{all.x - units[i].x, all.n - units[i].n};
    const bool higher =
        number(units[i].x) * number(others.n) > number(others.x) * number(units[i].n);
    result.push_back({.unit = i, .p = fisher_exact(units[i], others).two_sided, .higher = higher});
  }
  return with_adjusted(std::move(result));
}

std::vector<UnitDeviation> deviations(std::span<const Events> units) {
  comparing::require(units.size() >= 2, "comparing: at least 2 units");
  std::vector<UnitDeviation> result;
  for (std::size_t i = 0; i < units.size(); ++i) {
    Events others{.count = 0, .exposure = 0.0};  // added anew: a difference would lose digits
    for (std::size_t j = 0; j < units.size(); ++j)
      if (j != i) others = {others.count + units[j].count, others.exposure + units[j].exposure};
    const bool higher =
        number(units[i].count) * others.exposure > number(others.count) * units[i].exposure;
    result.push_back(
        {.unit = i, .p = rate_ratio_exact(units[i], others).two_sided, .higher = higher});
  }
  return with_adjusted(std::move(result));
}

CochranQ cochran_q(std::span<const std::vector<bool>> trials) {
  comparing::require(!trials.empty() && trials.front().size() >= 2,
                     "comparing: at least 1 trial of at least 2 conditions");
  const std::size_t conditions = trials.front().size();
  std::vector<double> by_condition(conditions, 0.0);
  double by_trial_squared = 0.0;
  for (const std::vector<bool>& trial : trials) {
    comparing::require(trial.size() == conditions, "comparing: one outcome for each condition");
    double successes = 0.0;
    for (std::size_t c = 0; c < conditions; ++c) {
      by_condition[c] += trial[c] ? 1.0 : 0.0;
      successes += trial[c] ? 1.0 : 0.0;
    }
    by_trial_squared += successes * successes;
  }
  const double k = number(conditions);
  const double all = std::accumulate(by_condition.begin(), by_condition.end(), 0.0);
  const double squared =
      std::inner_product(by_condition.begin(), by_condition.end(), by_condition.begin(), 0.0);
  CochranQ result{.q = 0.0, .degrees = k - 1.0, .p = 1.0};
  const double differing = k * all - by_trial_squared;
  if (differing <= 0.0) return result;
  result.q = (k - 1.0) * (k * squared - all * all) / differing;
  result.p = cdf(complement(boost::math::chi_squared(k - 1.0), result.q));
  return result;
}

}  // namespace plexor::analysis
