#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

#include "analysis/comparing/counts.hpp"
#include "analysis/comparing/support.hpp"
#include "analysis/comparing/two_proportions.hpp"

// Given the total of successes, which tables are at least as extreme as the seen one does not
// depend on the common true rate. So the p-value at a rate is the mean, over a binomial total, of
// the conditional probability of those tables. With the angle asin(sqrt(rate)) in place of the
// rate, that mean bends nowhere more than 4 N times the range of the conditional probabilities (its
// second derivative is the mean of score^2 - information, whose two terms have the mean 4 N each).
// That bounds it between the angles at which it was computed, and the search ends when no other
// angle can give noticeably more.

namespace plexor::analysis {

namespace {

using comparing::number;
using comparing::SharedSuccesses;

/// Of the largest conditional probability: how far below the supremum the result may lie.
constexpr double supremum_tolerance = 2.5e-7;

/// Conditional probability of the extreme tables for each total 0 .. N.
using ByTotal = std::vector<double>;

struct HeightAndSlope {
  double height = 0.0;
  double slope = 0.0;  ///< by the angle
};

/// The mean over a binomial total at this angle in (0, pi / 2), from the most probable total
/// outwards until nothing is left to add.
HeightAndSlope mean_at(const ByTotal& probability, double angle) {
  constexpr double negligible_weight = 1e-17;
  const std::size_t trials = probability.size() - 1;
  const double odds = std::tan(angle) * std::tan(angle);
  const double expected = number(trials) * std::sin(angle) * std::sin(angle);
  const auto mode = std::min(trials, static_cast<std::size_t>(expected));
  double weights = 0.0;
  double height = 0.0;
  double moment = 0.0;
  const auto add = [&](std::size_t total, double weight) {
    weights += weight;
    height += weight * probability[total];
    moment += weight * probability[total] * (number(total) - expected);
  };
  double weight = 1.0;
  for (std::size_t total = mode;; ++total) {
    add(total, weight);
    if (total == trials || weight < negligible_weight) break;
    weight *= odds * number(trials - total) / number(total + 1);
  }
  weight = 1.0;
  for (std::size_t total = mode; total > 0 && weight >= negligible_weight; --total) {
    weight *= number(total) / (odds * number(trials - total + 1));
    add(total - 1, weight);
  }
  return {height / weights, 4.0 * moment / weights / std::sin(2.0 * angle)};
}

/// The largest mean over all angles: pieces that cannot exceed the best found are dropped, the
/// others are halved.
double largest_mean(const ByTotal& probability) {
  const auto [least, most] = std::ranges::minmax(probability);
  const double bend = 4.0 * number(probability.size() - 1) * (most - least);
  double best = std::max(probability.front(), probability.back());
  constexpr int first_pieces = 64;
  double half_width = std::numbers::pi / 4.0 / first_pieces;
  std::vector<double> centres(first_pieces);
  for (int piece = 0; piece < first_pieces; ++piece)
    centres[static_cast<std::size_t>(piece)] = half_width * (2 * piece + 1);
  while (!centres.empty()) {
    std::vector<std::pair<double, double>> ceilings;  // each with its centre
    for (const double centre : centres) {
      const auto [height, slope] = mean_at(probability, centre);
      best = std::max(best, height);
      ceilings.emplace_back(height + half_width * (std::abs(slope) + half_width * bend / 2.0),
                            centre);
    }
    centres.clear();
    half_width /= 2.0;
    const double enough = std::min(best + supremum_tolerance * most, most);
    for (const auto& [ceiling, centre] : ceilings)
      if (ceiling > enough && best < most)
        centres.insert(centres.end(), {centre - half_width, centre + half_width});
  }
  return std::min(best, 1.0);
}

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
    least = std::max(least, shared.lowest());
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
    const std::uint64_t upper = first_where(shared.lowest(), end, [&](std::uint64_t count) {
      return statistic.at(count, total) >= high - tie;
    });
    const std::uint64_t lower = first_where(shared.lowest(), upper, [&](std::uint64_t count) {
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
