#include "analysis/comparing/rate_ratio.hpp"

#include <cmath>
#include <limits>

#include "analysis/comparing/counts.hpp"
#include "analysis/comparing/support.hpp"

namespace plexor::analysis {

namespace {

void require_exposures(Events first, Events second) {
  for (const Events& events : {first, second})
    comparing::require(events.exposure > 0.0 && std::isfinite(events.exposure),
                       "comparing: an exposure must be above 0 and finite");
}

}  // namespace

PValues rate_ratio_exact(Events first, Events second, double ratio) {
  require_exposures(first, second);
  comparing::require(ratio > 0.0 && std::isfinite(ratio),
                     "comparing: the ratio must be above 0 and finite");
  const std::uint64_t total = first.count + second.count;
  if (total == 0) return {};
  const double weight = first.exposure * ratio;
  const comparing::BinomialCount shared(total, weight / (weight + second.exposure));
  return {.two_sided = comparing::as_improbable_as(shared, first.count),
          .greater = shared.at_least(first.count),
          .less = shared.at_most(first.count)};
}

Interval rate_ratio_interval(Events first, Events second, double confidence, Sides sides) {
  require_exposures(first, second);
  comparing::require(confidence > 0.0 && confidence < 1.0,
                     "comparing: confidence must lie between 0 and 1");
  constexpr double infinite = std::numeric_limits<double>::infinity();
  Interval ratio{.lower = 0.0,
                 .upper = infinite,
                 .confidence = confidence,
                 .sides = sides,
                 .method = "conditional, Clopper-Pearson"};
  const std::uint64_t total = first.count + second.count;
  if (total == 0) return ratio;
  const double scale = second.exposure / first.exposure;
  // The complement of a share near 1 is the other's share, which loses no digits.
  const auto end = [&](std::uint64_t count, Sides side) {
    const double claimed = sides == Sides::two ? (1.0 + confidence) / 2.0 : confidence;
    const Interval share = clopper_pearson(count, total, claimed, side);
    return side == Sides::lower ? share.lower : share.upper;
  };
  if (sides != Sides::upper && first.count > 0)
    ratio.lower = scale * end(first.count, Sides::lower) / end(second.count, Sides::upper);
  if (sides != Sides::lower && second.count > 0)
    ratio.upper = scale * end(first.count, Sides::upper) / end(second.count, Sides::lower);
  return ratio;
}

}  // namespace plexor::analysis
