#include "analysis/comparing/two_proportions.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "analysis/comparing/counts.hpp"
#include "analysis/comparing/support.hpp"

namespace plexor::analysis {

namespace {

using comparing::number;

void require_successes_of_both(Successes first, Successes second) {
  comparing::require_successes(first);
  comparing::require_successes(second);
}

bool without_trials(Successes first, Successes second) { return first.n == 0 || second.n == 0; }

double rate_of(Successes group) { return number(group.x) / number(group.n); }

/// Opens the side of which nothing is claimed.
Interval difference_interval(double lower, double upper, double confidence, Sides sides,
                             const char* method) {
  return {.lower = sides == Sides::upper ? -1.0 : std::max(lower, -1.0),
          .upper = sides == Sides::lower ? 1.0 : std::min(upper, 1.0),
          .confidence = confidence,
          .sides = sides,
          .method = method};
}

/// The second rate of the largest likelihood among all pairs whose difference is `difference`. The
/// log likelihood is concave, so its slope changes its sign once.
double restricted_second_rate(Successes first, Successes second, double difference) {
  const auto slope = [](Successes group, double rate) {
    const double up = group.x == 0 ? 0.0 : number(group.x) / rate;
    const double down = group.x == group.n ? 0.0 : number(group.n - group.x) / (1.0 - rate);
    return up - down;
  };
  return base::last_where(
      std::max(0.0, -difference), std::min(1.0, 1.0 - difference),
      [&](double rate) { return slope(first, rate + difference) + slope(second, rate) > 0.0; });
}

/// The score statistic for a true difference; falls as the difference grows.
double score_of_difference(Successes first, Successes second, double difference) {
  const double excess = rate_of(first) - rate_of(second) - difference;
  if (excess == 0.0) return 0.0;
  const double second_rate = restricted_second_rate(first, second, difference);
  const double first_rate = std::clamp(second_rate + difference, 0.0, 1.0);
  const double trials = number(first.n) + number(second.n);
  const double variance = (first_rate * (1.0 - first_rate) / number(first.n) +
                           second_rate * (1.0 - second_rate) / number(second.n)) *
                          trials / (trials - 1.0);
  if (variance <= 0.0) return std::copysign(std::numeric_limits<double>::infinity(), excess);
  return excess / std::sqrt(variance);
}

}  // namespace

Interval newcombe_difference(Successes first, Successes second, double confidence, Sides sides) {
  require_successes_of_both(first, second);
  (void)comparing::normal_limit(confidence, sides);
  if (without_trials(first, second))
    return difference_interval(-1.0, 1.0, confidence, sides, "Newcombe");
  const double inside = sides == Sides::two ? confidence : 2.0 * confidence - 1.0;
  const double difference = rate_of(first) - rate_of(second);
  if (inside <= 0.0)
    return difference_interval(difference, difference, confidence, sides, "Newcombe");
  const Interval a = wilson(first.x, first.n, inside, Sides::two);
  const Interval b = wilson(second.x, second.n, inside, Sides::two);
  const double below = std::hypot(rate_of(first) - a.lower, b.upper - rate_of(second));
  const double above = std::hypot(a.upper - rate_of(first), rate_of(second) - b.lower);
  return difference_interval(difference - below, difference + above, confidence, sides, "Newcombe");
}

Interval miettinen_nurminen_difference(Successes first, Successes second, double confidence,
                                       Sides sides) {
  require_successes_of_both(first, second);
  const double z = comparing::normal_limit(confidence, sides);
  if (without_trials(first, second))
    return difference_interval(-1.0, 1.0, confidence, sides, "Miettinen-Nurminen");
  const double difference = rate_of(first) - rate_of(second);
  const auto score_above = [&](double limit) {
    return [=](double candidate) { return score_of_difference(first, second, candidate) > limit; };
  };
  const double lower = base::last_where(-1.0, difference, score_above(z));
  const double upper = base::last_where(difference, 1.0, score_above(-z));
  return difference_interval(lower, upper, confidence, sides, "Miettinen-Nurminen");
}

double score_noninferiority(Successes first, Successes second, double margin) {
  require_successes_of_both(first, second);
  comparing::require(margin >= 0.0 && margin < 1.0, "comparing: the margin must lie in [0, 1)");
  if (without_trials(first, second)) return 1.0;
  return comparing::normal_above(score_of_difference(first, second, -margin));
}

PValues fisher_exact(Successes first, Successes second) {
  require_successes_of_both(first, second);
  if (without_trials(first, second)) return {};
  const comparing::SharedSuccesses shared(first.n, second.n, first.x + second.x);
  return {.two_sided = comparing::as_improbable_as(shared, first.x),
          .greater = shared.at_least(first.x),
          .less = shared.at_most(first.x)};
}

}  // namespace plexor::analysis
