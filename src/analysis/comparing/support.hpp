#pragma once

#include <boost/math/distributions/normal.hpp>
#include <cstdint>
#include <stdexcept>

#include "analysis/comparing/tested.hpp"
#include "analysis/intervals.hpp"

// What the comparisons share; only for files of this folder.

namespace plexor::analysis::comparing {

inline void require(bool condition, const char* what) {
  if (!condition) throw std::domain_error(what);
}

inline void require_successes(Successes group) {
  require(group.x <= group.n, "comparing: more successes than trials");
}

inline double number(std::uint64_t count) { return static_cast<double>(count); }

/// P(Z > z) for a standard normal Z.
inline double normal_above(double z) {
  using Wide = boost::math::policies::policy<
      boost::math::policies::overflow_error<boost::math::policies::ignore_error>>;
  return cdf(complement(boost::math::normal_distribution<double, Wide>(), z));
}

/// The z that a standard normal exceeds with this probability, for an interval's claimed end.
/// Score intervals need z >= 0: a one-sided confidence of at least 1/2.
inline double normal_limit(double confidence, Sides sides) {
  require(confidence > 0.0 && confidence < 1.0, "comparing: confidence must lie between 0 and 1");
  require(sides == Sides::two || confidence >= 0.5,
          "comparing: a one-sided confidence must be at least 1/2");
  const double tail = sides == Sides::two ? (1.0 - confidence) / 2.0 : 1.0 - confidence;
  return quantile(complement(boost::math::normal(), tail));
}

}  // namespace plexor::analysis::comparing
