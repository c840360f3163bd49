#include <algorithm>
#include <cmath>

#include "analysis/comparing/counts.hpp"
#include "analysis/comparing/largest_mean.hpp"
#include "analysis/comparing/support.hpp"
#include "analysis/comparing/two_proportions.hpp"

// Given the total of successes, which tables are at least as extreme as the seen one does not
// depend on the common true rate. So the p-value at a rate is the mean, over a binomial total, of
// the conditional probability of those tables.

namespace plexor::analysis {

namespace {

using comparing::ByTotal;
using comparing::largest_mean;
using comparing::number;
using comparing::SharedSuccesses;

/// Of each total, the tables whose one-sided conditional probability is at most the seen table's.
/// The least first count that belongs to them grows by 0 or 1 with the total.
double boschloo_greater(Successes first, Successes second) {
  const double seen = SharedSuccesses(first.n, second.n, first.x + second.x).at_least(first.x);
  const double limit = seen * (1.0 + 1e-9);
  if (limit >= 1.0) return 1.0;
  ByTotal probability;
  std::uint64_t least = 0;
  for (std::uint64_t total = 0; total <= first.n + second.n; ++total) {
    const SharedSuccesses shared(first.n, second.n, total);
    double tail = shared.at_least(least);
    while (tail > limit) tail = shared.at_least(++least);
    probability.push_back(tail);
  }
  return largest_mean(probability);
}

/// The pooled Wald statistic of a first count, given the total.
class PooledWald {
 public:
  PooledWald(Successes first, Successes second)
      : first_(number(first.n)),
        second_(number(second.n)),
        seen_(at(first.x, first.x + second.x)) {}

  [[nodiscard]] double at(std::uint64_t count, std::uint64_t total) const {
    const double share = number(total) / (first_ + second_);
    const double variance = share * (1.0 - share) * (1.0 / first_ + 1.0 / second_);
    if (variance <= 0.0) return 0.0;
    return (number(count) / first_ - number(total - count) / second_) / std::sqrt(variance);
  }
  [[nodiscard]] double seen() const { return seen_; }

 private:
  double first_;
  double second_;
  double seen_;
};

/// Of each total, the tables whose statistic is at least `high` or at most `low`.
double barnard_outside(Successes first, Successes second, double low, double high) {
  constexpr double tie = 1e-9;
  const PooledWald statistic(first, second);
  ByTotal probability;
  for (std::uint64_t total = 0; total <= first.n + second.n; ++total) {
    const SharedSuccesses shared(first.n, second.n, total);
    const std::uint64_t end = shared.highest() + 1;
    const std::uint64_t upper = base::first_where(shared.lowest(), end, [&](std::uint64_t count) {
      return statistic.at(count, total) >= high - tie;
    });
    const std::uint64_t lower = base::first_where(shared.lowest(), upper, [&](std::uint64_t count) {
      return statistic.at(count, total) > low + tie;
    });
    const double below = lower == shared.lowest() ? 0.0 : shared.at_most(lower - 1);
    probability.push_back(lower == upper ? 1.0 : below + shared.at_least(upper));
  }
  return largest_mean(probability);
}

/// Also where there is nothing to compare.
bool is_for_fisher(Successes first, Successes second) {
  return first.n == 0 || second.n == 0 || first.n + second.n > most_unconditional_trials;
}

NamedP fisher_instead(Successes first, Successes second, Alternative alternative) {
  const PValues fisher = fisher_exact(first, second);
  if (alternative != Alternative::two_sided) return {fisher.of(alternative), "Fisher"};
  return {std::min(1.0, 2.0 * std::min(fisher.greater, fisher.less)), "Fisher, doubled"};
}

}  // namespace

NamedP barnard_exact(Successes first, Successes second, Alternative alternative) {
  comparing::require_successes(first);
  comparing::require_successes(second);
  if (is_for_fisher(first, second)) return fisher_instead(first, second, alternative);
  constexpr double never = 1e300;
  const double seen = PooledWald(first, second).seen();
  switch (alternative) {
    case Alternative::greater: return {barnard_outside(first, second, -never, seen), "Barnard"};
    case Alternative::less: return {barnard_outside(first, second, seen, never), "Barnard"};
    case Alternative::two_sided: break;
  }
  return {barnard_outside(first, second, -std::abs(seen), std::abs(seen)), "Barnard"};
}

NamedP boschloo_exact(Successes first, Successes second, Alternative alternative) {
  comparing::require_successes(first);
  comparing::require_successes(second);
  if (is_for_fisher(first, second)) return fisher_instead(first, second, alternative);
  switch (alternative) {
    case Alternative::greater: return {boschloo_greater(first, second), "Boschloo"};
    case Alternative::less: return {boschloo_greater(second, first), "Boschloo"};
    case Alternative::two_sided: break;
  }
  const double smaller = std::min(boschloo_greater(first, second), boschloo_greater(second, first));
  return {std::min(1.0, 2.0 * smaller), "Boschloo"};
}

}  // namespace plexor::analysis
