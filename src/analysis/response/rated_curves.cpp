#include "analysis/response/rated_curves.hpp"

#include <algorithm>
#include <boost/math/constants/constants.hpp>
#include <cmath>

namespace plexor::analysis {
namespace {

constexpr double tiniest = 1e-300;

/// F at eta, 1 - F, and dF / d eta.
struct Core {
  double share = 0.0;
  double rest = 1.0;
  double density = 0.0;
};

Core core_at(Link link, double eta) {
  using boost::math::double_constants::one_div_root_two;
  using boost::math::double_constants::one_div_root_two_pi;
  switch (link) {
    case Link::logit: {
      const double tail = 1.0 / (1.0 + std::exp(std::abs(eta)));
      const double head = 1.0 - tail;
      return {eta < 0.0 ? tail : head, eta < 0.0 ? head : tail, tail * head};
    }
    case Link::probit: {
      if (std::abs(eta) > 36.0) return {eta < 0.0 ? 0.0 : 1.0, eta < 0.0 ? 1.0 : 0.0, 0.0};
      const double tail = 0.5 * std::erfc(std::abs(eta) * one_div_root_two);
      const double head = 1.0 - tail;
      return {eta < 0.0 ? tail : head, eta < 0.0 ? head : tail,
              one_div_root_two_pi * std::exp(-0.5 * eta * eta)};
    }
    case Link::cloglog: {
      const double rate = std::exp(eta);
      return {-std::expm1(-rate), std::exp(-rate), std::exp(eta - rate)};
    }
  }
  return {};
}

}  // namespace

double eta_within(Link link, double share) {
  if (share <= 0.0) return -furthest_eta;
  if (share >= 1.0) return furthest_eta;
  return eta_of(link, share);
}

ShareAt RatedShape::operator()(double x) const {
  const Core core = core_at(link, eta + slope * (x - origin));
  ShareAt point{.share = guess + height() * core.share, .rest = lapse + height() * core.rest};
  for (const std::size_t i : {at_place, at_guess, at_lapse}) {
    point.by[i] = by_density[i] * core.density + by_share[i] * core.share + by_rest[i] * core.rest;
  }
  point.by[at_slope] = height() * core.density * (x - origin);
  return point;
}

RatedShape FreeCurves::with(const Parameters& at) const {
  RatedShape curve{.link = link,
                   .eta = at[at_place],
                   .slope = at[at_slope],
                   .guess = at[at_guess],
                   .lapse = at[at_lapse]};
  curve.by_density[at_place] = curve.height();
  curve.by_rest[at_guess] = 1.0;
  curve.by_share[at_lapse] = -1.0;
  return curve;
}

RatedShape CurvesThrough::with(const Parameters& at) const {
  RatedShape curve{.link = link,
                   .eta = at[at_place],
                   .slope = at[at_slope],
                   .origin = strength,
                   .guess = at[at_guess],
                   .lapse = at[at_lapse]};
  switch (follows) {
    case Follows::eta: return with_eta(curve);
    case Follows::guess: return with_guess(curve);
    case Follows::lapse: return with_lapse(curve);
  }
  return curve;
}

RatedShape CurvesThrough::with_eta(RatedShape curve) const {
  curve.eta = eta_within(link, (share - curve.guess) / curve.height());
  const double steepness = std::max(core_at(link, curve.eta).density, tiniest) * curve.height();
  curve.by_density[at_guess] = -(1.0 - curve.lapse - share) / steepness;
  curve.by_density[at_lapse] = (share - curve.guess) / steepness;
  curve.by_rest[at_guess] = 1.0;
  curve.by_share[at_lapse] = -1.0;
  return curve;
}

RatedShape CurvesThrough::with_guess(RatedShape curve) const {
  const Core here = core_at(link, curve.eta);
  const double height = (1.0 - curve.lapse - share) / std::max(here.rest, tiniest);
  curve.guess = 1.0 - curve.lapse - height;
  curve.by_density[at_place] = height;
  curve.by_rest[at_place] = -height * here.density / std::max(here.rest, tiniest);
  return curve;
}

RatedShape CurvesThrough::with_lapse(RatedShape curve) const {
  const Core here = core_at(link, curve.eta);
  const double height = (share - curve.guess) / std::max(here.share, tiniest);
  curve.lapse = 1.0 - curve.guess - height;
  curve.by_density[at_place] = height;
  curve.by_share[at_place] = -height * here.density / std::max(here.share, tiniest);
  return curve;
}

}  // namespace plexor::analysis
