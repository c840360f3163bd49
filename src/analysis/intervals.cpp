#include "analysis/intervals.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/special_functions/beta.hpp>
#include <boost/math/special_functions/gamma.hpp>
#include <cmath>
#include <limits>
#include <stdexcept>
#include <string_view>

#include "base/search.hpp"

namespace plexor::analysis {

namespace {

/// An unbounded end is +-infinity, not an exception; wrong arguments still throw std::domain_error.
using Policy = boost::math::policies::policy<
    boost::math::policies::overflow_error<boost::math::policies::ignore_error>,
    boost::math::policies::pole_error<boost::math::policies::ignore_error>>;

constexpr Policy policy{};

constexpr double infinity = std::numeric_limits<double>::infinity();

/// Decimal inputs are rarely exact in binary: a probability this close (relatively) to its limit is
/// at the limit.
constexpr double tie_slack = 1e-12;

bool at_most(double probability, double limit) { return probability <= limit * (1.0 + tie_slack); }

void need(bool condition, const char* what) {
  if (!condition) throw std::invalid_argument(what);
}

void need_confidence(double confidence) {
  need(confidence > 0.0 && confidence < 1.0, "intervals: confidence must lie between 0 and 1");
}

void need_proportion(std::uint64_t x, std::uint64_t n, double confidence) {
  need(x <= n, "intervals: more successes than trials");
  need_confidence(confidence);
}

/// The error probability that a claimed end may have.
double tail_of(double confidence, Sides sides) {
  return sides == Sides::two ? (1.0 - confidence) / 2.0 : 1.0 - confidence;
}

/// Opens the side of which nothing is claimed.
Interval interval(double lower, double upper, double highest, double confidence, Sides sides,
                  std::string_view method) {
  return {.lower = sides == Sides::upper ? 0.0 : lower,
          .upper = sides == Sides::lower ? highest : upper,
          .confidence = confidence,
          .sides = sides,
          .method = std::string(method)};
}

double as_double(std::uint64_t count) { return static_cast<double>(count); }

/// P(B <= k) and P(B > k) for B binomial with n trials of probability p.
double binomial_at_most(std::uint64_t k, std::uint64_t n, double p) {
  return k >= n ? 1.0 : boost::math::ibetac(as_double(k) + 1.0, as_double(n - k), p, policy);
}
double binomial_above(std::uint64_t k, std::uint64_t n, double p) {
  return k >= n ? 0.0 : boost::math::ibeta(as_double(k) + 1.0, as_double(n - k), p, policy);
}

/// The value at a position counted from 0, between two values in proportion. Infinite values are
/// never subtracted or multiplied by 0, which would give NaN.
std::optional<double> at_position(std::span<const double> sorted, double p, double position) {
  need(p >= 0.0 && p <= 1.0, "quantile: p must lie in [0, 1]");
  if (sorted.empty()) return std::nullopt;
  position = std::clamp(position, 0.0, as_double(sorted.size() - 1));
  const double nearest = std::round(position);
  const double slack = 4.0 * std::numeric_limits<double>::epsilon() * std::max(1.0, position);
  if (std::abs(position - nearest) <= slack) return sorted[static_cast<std::size_t>(nearest)];
  const auto below = static_cast<std::size_t>(position);
  const double low = sorted[below];
  const double high = sorted[below + 1];
  if (low == high || std::isinf(high)) return high;
  return low + (position - as_double(below)) * (high - low);
}

}  // namespace

Interval clopper_pearson(std::uint64_t x, std::uint64_t n, double confidence, Sides sides) {
  need_proportion(x, n, confidence);
  const double tail = tail_of(confidence, sides);
  const double hits = as_double(x);
  const double misses = as_double(n - x);
  const double lower = x == 0 ? 0.0 : boost::math::ibeta_inv(hits, misses + 1.0, tail, policy);
  const double upper = x == n ? 1.0 : boost::math::ibetac_inv(hits + 1.0, misses, tail, policy);
  return interval(lower, upper, 1.0, confidence, sides, "Clopper-Pearson");
}

Interval wilson(std::uint64_t x, std::uint64_t n, double confidence, Sides sides, bool continuity) {
  need_proportion(x, n, confidence);
  const double z = quantile(complement(boost::math::normal(), tail_of(confidence, sides)));
  const double trials = as_double(n);
  const double c = continuity ? 1.0 : 0.0;  // one half at each end of the count, times two
  const auto end = [&](double side) {
    const double p = as_double(x) / trials;
    const double under_root =
        z * z + 2.0 * side * c - c / trials + 4.0 * p * (as_double(n - x) - side * c);
    const double sum = 2.0 * as_double(x) + z * z + side * (c + z * std::sqrt(under_root));
    return std::clamp(sum / (2.0 * (trials + z * z)), 0.0, 1.0);
  };
  const double lower = x == 0 ? 0.0 : end(-1.0);
  const double upper = x == n ? 1.0 : end(1.0);
  return interval(lower, upper, 1.0, confidence, sides,
                  continuity ? "Wilson, continuity-corrected" : "Wilson");
}

std::optional<std::uint64_t> trials_to_show(double rate, double confidence, std::uint64_t allowed) {
  need(rate >= 0.0 && rate <= 1.0, "trials_to_show: rate must lie in [0, 1]");
  need_confidence(confidence);
  constexpr std::uint64_t most = 1'000'000'000;
  if (allowed >= most) return std::nullopt;
  const std::uint64_t trials = base::first_where(allowed + 1, most + 1, [&](std::uint64_t n) {
    // P(at most `allowed` failures in n), written with `rate` so that 1 - rate loses no digits.
    const double tail =
        boost::math::ibeta(as_double(n - allowed), as_double(allowed) + 1.0, rate, policy);
    return at_most(tail, 1.0 - confidence);
  });
  if (trials > most) return std::nullopt;
  return trials;
}

Interval garwood(std::uint64_t events, double exposure, double confidence, Sides sides) {
  need(exposure > 0.0, "garwood: exposure must be above 0");
  need_confidence(confidence);
  const double tail = tail_of(confidence, sides);
  const double count = as_double(events);
  const double lower = events == 0 ? 0.0 : boost::math::gamma_p_inv(count, tail, policy);
  const double upper = boost::math::gamma_q_inv(count + 1.0, tail, policy);
  return interval(lower / exposure, upper / exposure, infinity, confidence, sides, "Garwood");
}

std::optional<double> quantile_type7(std::span<const double> sorted, double p) {
  return at_position(sorted, p, (as_double(sorted.size()) - 1.0) * p);
}

std::optional<double> quantile_type8(std::span<const double> sorted, double p) {
  return at_position(sorted, p, (as_double(sorted.size()) + 1.0 / 3.0) * p - 2.0 / 3.0);
}

OrderRanks quantile_ranks(std::uint64_t n, double p, double confidence, Sides sides) {
  need(p >= 0.0 && p <= 1.0, "quantile_ranks: p must lie in [0, 1]");
  need_confidence(confidence);
  const double tail = tail_of(confidence, sides);
  OrderRanks ranks{.lower = 0, .upper = n + 1, .coverage = 0.0};
  // The l-th smallest value lies above the quantile when fewer than l values lie below it.
  if (sides != Sides::upper)
    ranks.lower = base::first_where(
        0, n, [&](std::uint64_t below) { return !at_most(binomial_at_most(below, n, p), tail); });
  if (sides != Sides::lower)
    ranks.upper = 1 + base::first_where(0, n, [&](std::uint64_t below) {
                    return at_most(binomial_above(below, n, p), tail);
                  });
  const double missed_below = ranks.lower == 0 ? 0.0 : binomial_at_most(ranks.lower - 1, n, p);
  const double missed_above = ranks.upper > n ? 0.0 : binomial_above(ranks.upper - 1, n, p);
  ranks.coverage = 1.0 - missed_below - missed_above;
  return ranks;
}

std::optional<double> d_prime(std::uint64_t hits, std::uint64_t signals,
                              std::uint64_t false_responses, std::uint64_t noises) {
  need(hits <= signals && false_responses <= noises, "d_prime: more responses than trials");
  if (signals == 0 || noises == 0) return std::nullopt;
  const auto z = [](std::uint64_t x, std::uint64_t n) {
    return quantile(boost::math::normal(), (as_double(x) + 0.5) / (as_double(n) + 1.0));
  };
  return z(hits, signals) - z(false_responses, noises);
}

}  // namespace plexor::analysis
