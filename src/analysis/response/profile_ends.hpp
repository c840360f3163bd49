#pragma once

#include <algorithm>
#include <boost/math/tools/toms748_solve.hpp>
#include <cmath>
#include <cstdint>
#include <limits>

#include "analysis/intervals.hpp"

// Where a profile of the log likelihood falls below what is likely enough.

namespace plexor::analysis {

/// The signed root of the likelihood ratio, less z: near linear in what is profiled, and above 0
/// where that is no longer likely.
template <typename Profile>
class Unlikeliness {
 public:
  Unlikeliness(Profile& profile, double best, double z) : profile_(profile), best_(best), z_(z) {}
  double operator()(double at) { return of(profile_(at)); }
  [[nodiscard]] double of(double log_likelihood) const {
    return std::sqrt(2.0 * std::max(0.0, best_ - log_likelihood)) - z_;
  }

 private:
  Profile& profile_;
  double best_;
  double z_;
};

/// Between a likely point and an unlikely one: where the likeliness ends.
template <typename Unlikely>
double crossing(double inside, double at_inside, double outside, double at_outside,
                Unlikely& unlikely) {
  if (at_inside >= 0.0) return inside;
  const auto is_close = [&](double a, double b) {
    return std::abs(a - b) <= 1e-5 * std::min(1.0, std::abs(outside - inside));
  };
  std::uintmax_t most_calls = 60;
  const bool upwards = inside < outside;
  const auto [a, b] = upwards
                          ? boost::math::tools::toms748_solve(unlikely, inside, outside, at_inside,
                                                              at_outside, is_close, most_calls)
                          : boost::math::tools::toms748_solve(unlikely, outside, inside, at_outside,
                                                              at_inside, is_close, most_calls);
  return a + (b - a) / 2.0;
}

/// From a likely point outwards, to `furthest` at most, to where the likeliness ends; infinite if
/// nowhere.
template <typename Unlikely>
double end_towards(double from, double step, double furthest, Unlikely& unlikely) {
  double inside = from;
  double at_inside = unlikely(inside);
  const auto within = [&](double x) {
    return step > 0.0 ? std::min(x, furthest) : std::max(x, furthest);
  };
  for (int i = 0; i < 60; ++i) {
    const double outside = within(inside + step);
    const double at_outside = unlikely(outside);
    if (at_outside > 0.0) return crossing(inside, at_inside, outside, at_outside, unlikely);
    if (outside == furthest) break;
    // Where a line through both points would end, and a little further.
    const double rise = at_outside - at_inside;
    const double steps = rise > 0.0 ? -at_outside / rise * 1.2 : 4.0;
    inside = outside;
    at_inside = at_outside;
    step *= std::clamp(steps, 0.25, 8.0);
  }
  return std::copysign(std::numeric_limits<double>::infinity(), step);
}

[[nodiscard]] inline Interval profile_between(double lower, double upper, double confidence,
                                              const char* method) {
  return {.lower = lower,
          .upper = upper,
          .confidence = confidence,
          .sides = Sides::two,
          .method = method};
}

}  // namespace plexor::analysis
