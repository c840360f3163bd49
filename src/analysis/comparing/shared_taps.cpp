#include "analysis/comparing/shared_taps.hpp"

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <cmath>
#include <numeric>

#include "analysis/comparing/support.hpp"

namespace plexor::analysis {
namespace {

using comparing::number;
using Chances = std::vector<double>;

/// Trials by how many of the units were successful in them.
std::vector<std::size_t> count_by_successes(std::span<const std::vector<bool>> trials) {
  std::vector<std::size_t> counts(trials.front().size() + 1, 0);
  for (const std::vector<bool>& trial : trials) {
    comparing::require(trial.size() + 1 == counts.size(),
                       "comparing: one outcome for each condition");
    ++counts[static_cast<std::size_t>(std::ranges::count(trial, true))];
  }
  return counts;
}

Chances sum_of(const Chances& first, const Chances& second) {
  Chances sum(first.size() + second.size() - 1, 0.0);
  for (std::size_t i = 0; i < first.size(); ++i) {
    for (std::size_t j = 0; j < second.size(); ++j) sum[i + j] += first[i] * second[j];
  }
  return sum;
}

/// How many successes an alike unit has in the trials in which units differ.
class AlikeUnit {
 public:
  explicit AlikeUnit(const std::vector<std::size_t>& by_successes)
      : by_successes_(by_successes), units_(number(by_successes.size() - 1)) {
    differing_ = std::accumulate(by_successes.begin() + 1, by_successes.end() - 1, std::size_t{0});
    for (std::size_t s = 1; s + 1 < by_successes.size(); ++s) {
      const double share = number(s) / units_;
      mean_ += number(by_successes[s]) * share;
      variance_ += number(by_successes[s]) * share * (1.0 - share);
    }
    if (differing_ <= most_exact_differing) convolve();
  }

  [[nodiscard]] double mean() const { return mean_; }
  [[nodiscard]] double two_sided_p(std::size_t successes) const {
    if (differing_ == 0) return 1.0;
    return std::min(1.0, 2.0 * std::min(at_most(successes), at_least(successes)));
  }

 private:
  void convolve() {
    chances_ = {1.0};
    for (std::size_t s = 1; s + 1 < by_successes_.size(); ++s) {
      const std::size_t n = by_successes_[s];
      if (n == 0) continue;
      const boost::math::binomial count(number(n), number(s) / units_);
      Chances one;
      for (std::size_t x = 0; x <= n; ++x) one.push_back(boost::math::pdf(count, number(x)));
      chances_ = sum_of(chances_, one);
    }
  }
  [[nodiscard]] double at_most(std::size_t successes) const {
    if (chances_.empty()) return comparing::normal_above((mean_ - number(successes) - 0.5) / sd());
    const auto end = chances_.begin() + static_cast<std::ptrdiff_t>(successes) + 1;
    return std::accumulate(chances_.begin(), end, 0.0);
  }
  [[nodiscard]] double at_least(std::size_t successes) const {
    if (chances_.empty()) return comparing::normal_above((number(successes) - mean_ - 0.5) / sd());
    const auto begin = chances_.begin() + static_cast<std::ptrdiff_t>(successes);
    return std::accumulate(begin, chances_.end(), 0.0);
  }
  [[nodiscard]] double sd() const { return std::sqrt(variance_); }

  const std::vector<std::size_t>& by_successes_;
  double units_;
  std::size_t differing_ = 0;
  double mean_ = 0.0;
  double variance_ = 0.0;
  Chances chances_;  ///< by count; empty where the normal distribution stands in
};

bool differs(const std::vector<bool>& trial) {
  return std::ranges::find(trial, !trial.front()) != trial.end();
}

}  // namespace

std::vector<UnitDeviation> shared_deviations(std::span<const std::vector<bool>> trials) {
  comparing::require(!trials.empty() && trials.front().size() >= 2,
                     "comparing: at least 1 trial of at least 2 units");
  const std::vector<std::size_t> by_successes = count_by_successes(trials);
  const AlikeUnit alike(by_successes);
  std::vector<std::size_t> successes(trials.front().size(), 0);
  for (const std::vector<bool>& trial : trials) {
    if (!differs(trial)) continue;
    for (std::size_t unit = 0; unit < trial.size(); ++unit)
      successes[unit] += trial[unit] ? 1U : 0U;
  }
  std::vector<UnitDeviation> found;
  std::vector<double> p_values;
  for (std::size_t unit = 0; unit < successes.size(); ++unit) {
    p_values.push_back(alike.two_sided_p(successes[unit]));
    found.push_back(
        {.unit = unit, .p = p_values.back(), .higher = number(successes[unit]) > alike.mean()});
  }
  const std::vector<double> holm = adjusted(p_values, Adjustment::holm);
  for (std::size_t unit = 0; unit < found.size(); ++unit) found[unit].adjusted_p = holm[unit];
  return found;
}

}  // namespace plexor::analysis
