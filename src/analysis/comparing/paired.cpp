#include "analysis/comparing/paired.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "analysis/comparing/counts.hpp"
#include "analysis/comparing/support.hpp"

namespace plexor::analysis {

namespace {

using comparing::number;

/// The probability of a pair that only the second answers, of the largest likelihood among all with
/// this difference: the larger root of Tango's quadratic, in the form that loses no digits.
double second_only_share(const Pairs& pairs, double difference) {
  const double n = number(pairs.count());
  const double first_only = number(pairs.first_only);
  const double second_only = number(pairs.second_only);
  const double linear =
      (2.0 * n - first_only + second_only) * difference - first_only - second_only;
  const double constant = -second_only * difference * (1.0 - difference);
  const double root = std::sqrt(std::max(0.0, linear * linear - 8.0 * n * constant));
  if (linear <= 0.0) return (root - linear) / (4.0 * n);
  return -2.0 * constant / (root + linear);
}

/// The score statistic for a true difference; falls as the difference grows.
double score_of_pairs(const Pairs& pairs, double difference) {
  const double n = number(pairs.count());
  const double excess = number(pairs.first_only) - number(pairs.second_only) - n * difference;
  if (excess == 0.0) return 0.0;
  const double variance =
      n * (2.0 * second_only_share(pairs, difference) + difference * (1.0 - difference));
  if (variance <= 0.0) return std::copysign(std::numeric_limits<double>::infinity(), excess);
  return excess / std::sqrt(variance);
}

}  // namespace

Interval tango_difference(const Pairs& pairs, double confidence, Sides sides) {
  const double z = comparing::normal_limit(confidence, sides);
  Interval interval{
      .lower = -1.0, .upper = 1.0, .confidence = confidence, .sides = sides, .method = "Tango"};
  if (pairs.count() == 0) return interval;
  const double difference =
      (number(pairs.first_only) - number(pairs.second_only)) / number(pairs.count());
  const auto limit = [&](double low, double high, double least_score) {
    return base::last_where(low, high, [&](double candidate) {
      return score_of_pairs(pairs, candidate) > least_score;
    });
  };
  if (sides != Sides::upper) interval.lower = limit(-1.0, difference, z);
  if (sides != Sides::lower) interval.upper = limit(difference, 1.0, -z);
  return interval;
}

double tango_noninferiority(const Pairs& pairs, double margin) {
  comparing::require(margin >= 0.0 && margin < 1.0, "comparing: the margin must lie in [0, 1)");
  if (pairs.count() == 0) return 1.0;
  return comparing::normal_above(score_of_pairs(pairs, -margin));
}

PValues mcnemar_exact(std::uint64_t first_only, std::uint64_t second_only) {
  const std::uint64_t differing = first_only + second_only;
  if (differing == 0) return {};
  const comparing::BinomialCount fair(differing, 0.5);
  return {.two_sided = comparing::as_improbable_as(fair, first_only),
          .greater = fair.at_least(first_only),
          .less = fair.at_most(first_only)};
}

}  // namespace plexor::analysis
