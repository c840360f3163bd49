#include "analysis/comparing/two_sample.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "analysis/comparing/differences.hpp"
#include "analysis/comparing/support.hpp"

namespace plexor::analysis {

namespace {

using comparing::number;
using comparing::require_samples;
using Sample = std::span<const double>;

constexpr double half_step = 0.5;
constexpr double unbounded = std::numeric_limits<double>::infinity();

/// P(U <= u) for u up to n m / 2, exactly but for rounding. The number of arrangements with U = u
/// is a coefficient of Gauss's binomial (n + m over n): the product over i <= n of (1 - q^(m+i)) /
/// (1 - q^i).
std::vector<double> lower_half_of_rank_sums(std::uint64_t n, std::uint64_t m) {
  std::vector<double> arrangements(n * m / 2 + 1, 0.0);
  arrangements.front() = 1.0;
  for (std::uint64_t i = 1; i <= n; ++i) {
    for (std::size_t u = arrangements.size(); u-- > m + i;)
      arrangements[u] -= arrangements[u - m - i];
    for (std::size_t u = i; u < arrangements.size(); ++u) arrangements[u] += arrangements[u - i];
  }
  std::vector<double> sums = arrangements;
  for (std::size_t u = 1; u < sums.size(); ++u) sums[u] += sums[u - 1];
  const bool has_middle = n * m % 2 == 0;
  const double all = 2.0 * sums.back() - (has_middle ? arrangements.back() : 0.0);
  for (double& sum : sums) sum /= all;
  return sums;
}

/// From the half below the middle to any u.
double rank_sum_from_half(const std::vector<double>& half, std::uint64_t u, std::uint64_t pairs) {
  if (u >= pairs) return 1.0;
  return u < half.size() ? half[u] : 1.0 - half[pairs - u - 1];
}

/// Ranks of the differences that enclose the shift, from below and from above, and their coverage.
struct ShiftRank {
  std::uint64_t rank = 1;
  double coverage = 0.0;
};

ShiftRank exact_shift_rank(std::uint64_t n, std::uint64_t m, double confidence) {
  constexpr double rounding = 1e-12;  // decimal inputs are rarely exact in binary
  const std::vector<double> half = lower_half_of_rank_sums(std::min(n, m), std::max(n, m));
  const double tail = (1.0 - confidence) / 2.0;
  const auto reached = [&](double sum) { return sum >= tail * (1.0 - rounding); };
  const auto below = static_cast<std::uint64_t>(std::ranges::find_if(half, reached) - half.begin());
  const std::uint64_t rank = std::max<std::uint64_t>(1, below);
  return {rank, 1.0 - 2.0 * rank_sum_from_half(half, rank - 1, n * m)};
}

ShiftRank normal_shift_rank(std::uint64_t n, std::uint64_t m, double confidence) {
  const double mean = number(n) * number(m) / 2.0;
  const double sd = std::sqrt(number(n) * number(m) * number(n + m + 1) / 12.0);
  const double z = comparing::normal_limit(confidence, Sides::two);
  const double rank = std::max(1.0, std::floor(mean - z * sd));
  const double missed = 2.0 * comparing::normal_above((mean - rank + half_step) / sd);
  return {static_cast<std::uint64_t>(rank), 1.0 - missed};
}

/// Halfway; nothing between opposite infinities.
std::optional<double> midpoint_of(double low, double high) {
  if (low == high) return low;
  if (std::isinf(low) && std::isinf(high)) return std::nullopt;
  return std::isinf(low) ? low : std::isinf(high) ? high : low + (high - low) / 2.0;
}

std::optional<double> median_difference(const comparing::Differences& differences) {
  const std::uint64_t pairs = differences.count();
  const double low = differences.at_rank((pairs + 1) / 2);
  const bool has_one_middle = pairs % 2 == 1 || differences.at_most(low) > pairs / 2;
  return has_one_middle ? low : midpoint_of(low, differences.next_above(low));
}

/// A quantile of one sample between its order statistics.
struct Located {
  double estimate = 0.0;
  double lower = 0.0;
  double upper = 0.0;

  [[nodiscard]] bool is_finite() const {
    return std::isfinite(estimate) && std::isfinite(lower) && std::isfinite(upper);
  }
};

Located locate_quantile(Sample sorted, double p, double confidence) {
  const OrderRanks ranks = quantile_ranks(sorted.size(), p, confidence, Sides::two);
  double lower = -unbounded;
  double upper = unbounded;
  if (ranks.lower > 0) lower = sorted[ranks.lower - 1];
  if (ranks.upper <= sorted.size()) upper = sorted[ranks.upper - 1];
  return {std::clamp(*quantile_type7(sorted, p), lower, upper), lower, upper};
}

}  // namespace

MannWhitney mann_whitney(Sample first, Sample second) {
  require_samples(first, second);
  const double n = number(first.size());
  const double m = number(second.size());
  if (first.empty() || second.empty()) return {};
  MannWhitney result{.u = 0.0, .mean = n * m / 2.0, .sd = 0.0, .ties = false};
  double tie_sum = 0.0;
  std::size_t smaller = 0;  // of the second
  for (std::size_t i = 0, j = 0; i < first.size() || j < second.size();) {
    const bool from_first = j == second.size() || (i < first.size() && first[i] <= second[j]);
    const double value = from_first ? first[i] : second[j];
    const std::size_t from_i = i;
    while (i < first.size() && first[i] == value) ++i;
    while (j < second.size() && second[j] == value) ++j;
    const double tied = number(i - from_i + j - smaller);
    result.u += number(i - from_i) * (number(smaller) + number(j - smaller) / 2.0);
    result.ties = result.ties || tied > 1.0;
    tie_sum += tied * (tied * tied - 1.0);
    smaller = j;
  }
  const double all = n + m;
  const double variance = n * m / 12.0 * (all + 1.0 - tie_sum / (all * (all - 1.0)));
  const bool all_equal = first.front() == second.front() && first.back() == second.back() &&
                         first.front() == first.back();
  result.sd = all_equal ? 0.0 : std::sqrt(variance);
  return result;
}

bool exact_ranks(std::uint64_t n, std::uint64_t m) {
  return n >= 1 && m >= 1 && n + m <= 1'000 && n * m <= 40'000;
}

double rank_sum_at_most(std::uint64_t u, std::uint64_t n, std::uint64_t m) {
  comparing::require(exact_ranks(n, m), "comparing: sizes with exact ranks");
  return rank_sum_from_half(lower_half_of_rank_sums(std::min(n, m), std::max(n, m)), u, n * m);
}

std::optional<PValues> mann_whitney_exact(Sample first, Sample second) {
  const MannWhitney seen = mann_whitney(first, second);
  const std::uint64_t n = first.size();
  const std::uint64_t m = second.size();
  if (seen.ties || !exact_ranks(n, m)) return std::nullopt;
  const std::vector<double> half = lower_half_of_rank_sums(std::min(n, m), std::max(n, m));
  const auto u = static_cast<std::uint64_t>(seen.u);
  const double less = rank_sum_from_half(half, u, n * m);
  const double greater = rank_sum_from_half(half, n * m - u, n * m);  // U and n m - U are alike
  return PValues{
      .two_sided = std::min(1.0, 2.0 * std::min(less, greater)), .greater = greater, .less = less};
}

std::optional<PValues> mann_whitney_normal(Sample first, Sample second, bool continuity) {
  const MannWhitney seen = mann_whitney(first, second);
  if (seen.sd == 0.0) return std::nullopt;
  const double excess = seen.u - seen.mean;
  const double step = continuity ? half_step : 0.0;
  const double outside = std::max(0.0, std::abs(excess) - step);
  return PValues{.two_sided = std::min(1.0, 2.0 * comparing::normal_above(outside / seen.sd)),
                 .greater = comparing::normal_above((excess - step) / seen.sd),
                 .less = comparing::normal_above((-excess - step) / seen.sd)};
}

Shift hodges_lehmann(Sample first, Sample second, double confidence) {
  require_samples(first, second);
  comparing::require(confidence > 0.0 && confidence < 1.0,
                     "comparing: confidence must lie between 0 and 1");
  const std::uint64_t n = first.size();
  const std::uint64_t m = second.size();
  const bool exact = exact_ranks(n, m);
  if (n == 0 || m == 0)
    return {.estimate = std::nullopt,
            .lower = -unbounded,
            .upper = unbounded,
            .confidence = confidence,
            .coverage = 1.0,
            .exact = true};
  const auto [rank, coverage] =
      exact ? exact_shift_rank(n, m, confidence) : normal_shift_rank(n, m, confidence);
  const comparing::Differences differences(first, second);
  return {.estimate = median_difference(differences),
          .lower = differences.at_rank(rank),
          .upper = differences.at_rank(n * m + 1 - rank),
          .confidence = confidence,
          .coverage = coverage,
          .exact = exact};
}

double difference_at_rank(Sample first, Sample second, std::uint64_t rank) {
  require_samples(first, second);
  comparing::require(rank >= 1 && rank <= first.size() * second.size(),
                     "comparing: a rank among all differences");
  return comparing::Differences(first, second).at_rank(rank);
}

QuantileDifference quantile_difference(Sample first, Sample second, double p, double confidence,
                                       Joining joining) {
  require_samples(first, second);
  comparing::require(p >= 0.0 && p <= 1.0, "comparing: p must lie in [0, 1]");
  comparing::require(confidence > 0.0 && confidence < 1.0,
                     "comparing: confidence must lie between 0 and 1");
  using comparing::difference;
  if (first.empty() || second.empty())
    return {std::nullopt, {-unbounded, unbounded, confidence, Sides::two, "no values"}};
  if (joining == Joining::squared) {
    const Located a = locate_quantile(first, p, confidence);
    const Located b = locate_quantile(second, p, confidence);
    if (a.is_finite() && b.is_finite()) {
      const double estimate = a.estimate - b.estimate;
      const double below = std::hypot(a.estimate - a.lower, b.upper - b.estimate);
      const double above = std::hypot(a.upper - a.estimate, b.estimate - b.lower);
      return {estimate,
              {estimate - below, estimate + above, confidence, Sides::two,
               "order statistics, squared and added"}};
    }
  }
  const Located a = locate_quantile(first, p, std::sqrt(confidence));
  const Located b = locate_quantile(second, p, std::sqrt(confidence));
  return {difference(a.estimate, b.estimate),
          {difference(a.lower, b.upper), difference(a.upper, b.lower), confidence, Sides::two,
           "order statistics, both at once"}};
}

}  // namespace plexor::analysis
