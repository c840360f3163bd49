#include "analysis/trend/count_changes.hpp"

#include <algorithm>
#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/poisson.hpp>
#include <cmath>
#include <numeric>
#include <optional>

#include "analysis/comparing/counts.hpp"
#include "analysis/comparing/support.hpp"
#include "analysis/comparing/two_proportions.hpp"

namespace plexor::analysis {
namespace {

using comparing::ListedCounts;
using comparing::number;

/// All counts together.
struct Total {
  std::uint64_t count = 0;
  double size = 0.0;
};

Total total_of(const OrderedCounts& series) {
  comparing::require(series.counts.size() == series.sizes.size(), "trend: a size for each count");
  return {std::accumulate(series.counts.begin(), series.counts.end(), std::uint64_t{0}),
          std::accumulate(series.sizes.begin(), series.sizes.end(), 0.0)};
}

/// P(count) within `size` at the common rate.
double mass_of(const OrderedCounts& series, const Total& total, double size, std::uint64_t count) {
  if (size <= 0.0) return count == 0 ? 1.0 : 0.0;
  const double rate = number(total.count) / total.size;
  if (!series.of_trials) return pdf(boost::math::poisson(rate * size), number(count));
  if (number(count) > size) return 0.0;
  return pdf(boost::math::binomial(size, rate), number(count));
}

std::vector<ListedCounts> list_all(const OrderedCounts& series, const Total& total) {
  std::vector<ListedCounts> listed;
  for (const double size : series.sizes) {
    const std::uint64_t most =
        series.of_trials ? std::min(total.count, static_cast<std::uint64_t>(size)) : total.count;
    listed.push_back(comparing::list_counts(
        number(total.count) * size / total.size, most,
        [&](std::uint64_t count) { return mass_of(series, total, size, count); }));
  }
  return listed;
}

/// The log likelihood of a count at its own rate, but for what cancels.
double own_log_likelihood(bool of_trials, double count, double size) {
  const auto term = [](double part, double whole) {
    return part > 0.0 ? part * std::log(part / whole) : 0.0;
  };
  return term(count, size) + (of_trials ? term(size - count, size) : 0.0);
}

double split_deviance(const OrderedCounts& series, const Total& total, const Total& before) {
  const double after_size = total.size - before.size;
  const std::uint64_t after = total.count - before.count;
  const bool trials = series.of_trials;
  return 2.0 * (own_log_likelihood(trials, number(before.count), before.size) +
                own_log_likelihood(trials, number(after), after_size) -
                own_log_likelihood(trials, number(total.count), total.size));
}

/// Follows the sum of the counts so far through all splits, and collects the weight of the paths
/// that reach `limit` at some split.
class SplitPaths {
 public:
  SplitPaths(const OrderedCounts& series, const Total& total, double limit)
      : series_(series), total_(total), limit_(limit), weights_(total.count + 1, 0.0) {
    weights_[0] = 1.0;
  }

  /// Nothing beyond `most_steps` additions.
  std::optional<double> exceeding_share() {
    const std::vector<ListedCounts> listed = list_all(series_, total_);
    for (std::size_t i = 0; i + 1 < series_.size(); ++i) {
      if (!add(listed[i])) return std::nullopt;
      before_size_ += series_.sizes[i];
      take_out_exceeding();
    }
    return exceeding_ / mass_of(series_, total_, total_.size, total_.count);
  }

 private:
  static constexpr std::size_t most_steps = 30'000'000;
  static constexpr double negligible_weight = 1e-40;

  bool add(const ListedCounts& counts) {
    std::vector<double> next(weights_.size(), 0.0);
    for (std::size_t sum = 0; sum < weights_.size(); ++sum) {
      if (weights_[sum] < negligible_weight) continue;
      const std::size_t room = weights_.size() - std::min(weights_.size(), sum + counts.first);
      const std::size_t end = std::min(counts.probability.size(), room);
      for (std::size_t i = 0; i < end; ++i) {
        next[sum + counts.first + i] += weights_[sum] * counts.probability[i];
      }
      steps_ += end;
    }
    weights_ = std::move(next);
    return steps_ <= most_steps;
  }

  void take_out_exceeding() {
    for (std::size_t sum = 0; sum < weights_.size(); ++sum) {
      if (weights_[sum] < negligible_weight) continue;
      if (series_.of_trials && number(total_.count - sum) > total_.size - before_size_) continue;
      if (split_deviance(series_, total_, {sum, before_size_}) < limit_) continue;
      exceeding_ +=
          weights_[sum] * mass_of(series_, total_, total_.size - before_size_, total_.count - sum);
      weights_[sum] = 0.0;
    }
  }

  const OrderedCounts& series_;
  const Total total_;
  const double limit_;
  std::vector<double> weights_;
  double before_size_ = 0.0;
  double exceeding_ = 0.0;
  std::size_t steps_ = 0;
};

/// The smaller tail of the weighted sum given the total, doubled. Nothing where it would take long.
std::optional<double> exact_drift_p(const OrderedCounts& series, const Total& total,
                                    std::span<const std::uint32_t> weights) {
  constexpr std::size_t most_steps = 1'000'000;
  const std::size_t widest = total.count * std::ranges::max(weights) + 1;
  const std::size_t states = (total.count + 1) * widest;
  if (states * series.size() > most_steps) return std::nullopt;
  const std::vector<ListedCounts> listed = list_all(series, total);
  std::size_t seen = 0;
  std::vector<double> now(states, 0.0);
  now[0] = 1.0;
  for (std::size_t i = 0; i < series.size(); ++i) {
    seen += series.counts[i] * weights[i];
    std::vector<double> next(states, 0.0);
    for (std::size_t sum = 0; sum <= total.count; ++sum) {
      for (std::size_t weighted = 0; weighted < widest; ++weighted) {
        const double weight = now[sum * widest + weighted];
        if (weight <= 0.0) continue;
        const std::size_t first = listed[i].first;
        for (std::size_t k = 0; k < listed[i].probability.size(); ++k) {
          const std::size_t count = first + k;
          if (sum + count > total.count) break;
          next[(sum + count) * widest + weighted + count * weights[i]] +=
              weight * listed[i].probability[k];
        }
      }
    }
    now = std::move(next);
  }
  const auto last = now.end() - static_cast<std::ptrdiff_t>(widest);
  const auto at = last + static_cast<std::ptrdiff_t>(seen);
  const double all = std::accumulate(last, now.end(), 0.0);
  const double low = std::accumulate(last, at + 1, 0.0) / all;
  const double high = std::accumulate(at, now.end(), 0.0) / all;
  return std::min(1.0, 2.0 * std::min(low, high));
}

}  // namespace

OrderedCounts ordered_counts(std::span<const Successes> series) {
  Successes all;
  for (const Successes& one : series) {
    comparing::require_successes(one);
    comparing::require(one.n > 0, "trend: each count needs trials");
    all = {all.x + one.x, all.n + one.n};
  }
  const bool failures = 2 * all.x > all.n;
  OrderedCounts ordered{.counts = {}, .sizes = {}, .of_trials = true};
  for (const Successes& one : series) {
    ordered.counts.push_back(failures ? one.n - one.x : one.x);
    ordered.sizes.push_back(number(one.n));
  }
  return ordered;
}

OrderedCounts ordered_counts(std::span<const Events> series) {
  OrderedCounts ordered;
  for (const Events& one : series) {
    comparing::require(one.exposure > 0.0 && std::isfinite(one.exposure),
                       "trend: an exposure must be above 0 and finite");
    ordered.counts.push_back(one.count);
    ordered.sizes.push_back(one.exposure);
  }
  return ordered;
}

double weighted_score(const OrderedCounts& series, std::span<const double> weights) {
  const Total total = total_of(series);
  comparing::require(weights.size() == series.size(), "trend: a weight for each count");
  double sum = 0.0;
  double mean = 0.0;
  double squares = 0.0;
  for (std::size_t i = 0; i < weights.size(); ++i) {
    sum += weights[i] * number(series.counts[i]);
    mean += weights[i] * series.sizes[i] / total.size;
    squares += weights[i] * weights[i] * series.sizes[i] / total.size;
  }
  double variance = number(total.count) * (squares - mean * mean);
  if (series.of_trials) {  // without replacement, given the total
    variance *= (total.size - number(total.count)) / std::max(1.0, total.size - 1.0);
  }
  if (!(variance > 1e-12 * squares)) return 0.0;
  return (sum - number(total.count) * mean) / std::sqrt(variance);
}

DriftTest drift_test(const OrderedCounts& series, std::span<const std::uint32_t> weights) {
  const Total total = total_of(series);
  const std::vector<double> slopes(weights.begin(), weights.end());
  DriftTest found{.z = weighted_score(series, slopes)};
  if (found.z == 0.0) return found;
  if (const auto exact = exact_drift_p(series, total, weights)) {
    found.p = *exact;
    found.exact = true;
  } else {
    found.p = std::min(1.0, 2.0 * comparing::normal_above(std::abs(found.z)));
  }
  return found;
}

double one_against_others(const OrderedCounts& series, std::size_t one) {
  const Total total = total_of(series);
  const std::uint64_t others = total.count - series.counts.at(one);
  const double others_size = total.size - series.sizes[one];
  if (!series.of_trials) {
    return rate_ratio_exact({series.counts[one], series.sizes[one]}, {others, others_size})
        .two_sided;
  }
  const auto trials = [](double size) { return static_cast<std::uint64_t>(std::llround(size)); };
  return fisher_exact({series.counts[one], trials(series.sizes[one])},
                      {others, trials(others_size)})
      .two_sided;
}

ChangeScan change_scan(const OrderedCounts& series) {
  const Total total = total_of(series);
  comparing::require(series.size() >= 2, "trend: at least 2 counts");
  ChangeScan found;
  Total before;
  for (std::size_t i = 0; i + 1 < series.size(); ++i) {
    before = {before.count + series.counts[i], before.size + series.sizes[i]};
    found.deviances.push_back(split_deviance(series, total, before));
  }
  const auto largest = std::ranges::max_element(found.deviances);
  found.first_after = static_cast<std::size_t>(largest - found.deviances.begin()) + 1;
  if (*largest < 1e-9) {
    found.exact = true;
    return found;
  }
  const double tie = 1.0 - 1e-9;
  if (const auto share = SplitPaths(series, total, *largest * tie).exceeding_share()) {
    found.p = std::min(1.0, *share);
    found.exact = true;
  } else {
    const double tail = cdf(complement(boost::math::chi_squared(1.0), *largest));
    found.p = std::min(1.0, number(found.deviances.size()) * tail);
  }
  return found;
}

}  // namespace plexor::analysis
