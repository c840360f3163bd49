#include "analysis/response/rated_response.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <utility>

#include "analysis/response/profile_ends.hpp"
#include "analysis/response/rated_curves.hpp"
#include "analysis/response/rated_profiles.hpp"
#include "analysis/response/rated_search.hpp"

namespace plexor::analysis {
namespace {

constexpr double endless = std::numeric_limits<double>::infinity();

bool is_within(double value, double lower, double upper) {
  return lower <= value && value <= upper;
}

constexpr double far_away = 1e6;  // in scaled strengths

/// A strength that is likely to have the share: the best curve's, else one far up (or down).
template <typename Unlikely>
std::optional<double> likely_strength(const RatedFit& fit, double share, const Scaled& scaled,
                                      Unlikely& unlikely) {
  if (const auto best = strength_of(fit, share)) {
    const double at = scaled.scaled(*best);
    if (std::abs(at) < far_away) return at;
  }
  const double side = share_at(fit, scaled.centre()) < share ? 1.0 : -1.0;
  for (double at = 1.0; at < far_away; at *= 2.0) {
    if (unlikely(side * at) < 0.0) return side * at;
  }
  return std::nullopt;
}

/// As end_towards, but from a known end on where that lies further out; the known end itself where
/// nothing beyond it is likely.
template <typename Unlikely>
double wider_end(double from, double known, double step, double furthest, Unlikely& unlikely) {
  const bool is_further = std::isfinite(known) && (known - from) * step > 0.0;
  if (!is_further) return end_towards(from, step, furthest, unlikely);
  if (unlikely(known) >= 0.0) return known;
  return end_towards(known, step, furthest, unlikely);
}

/// Those at or below 0 are of rates at an end of their range, or held: they do not vary.
std::array<bool, most_parameters> varying(const Box& box, const Parameters& at) {
  std::array<bool, most_parameters> varies{};
  for (std::size_t i = 0; i < most_parameters; ++i) {
    varies[i] = at[i] > box.lower[i] && at[i] < box.upper[i];
  }
  return varies;
}

double variance_along(const LikelihoodAt& here, const std::array<bool, most_parameters>& varies,
                      const Parameters& direction) {
  LikelihoodAt system = here;
  system.score = direction;
  const Parameters half_way = damped_step(system, varies, 0.0);
  double variance = 0.0;
  for (std::size_t i = 0; i < most_parameters; ++i) {
    if (varies[i]) variance += direction[i] * half_way[i];
  }
  return variance;
}

BandPoint band_point(double strength, const ShareAt& point, double half_width) {
  if (!(point.share > 0.0) || !(point.rest > 0.0) || !std::isfinite(half_width)) {
    return {.strength = strength, .share = point.share, .lower = 0.0, .upper = 1.0};
  }
  const double middle = std::log(point.share / point.rest);
  return {.strength = strength,
          .share = point.share,
          .lower = share_at(Link::logit, middle - half_width),
          .upper = share_at(Link::logit, middle + half_width)};
}

double upper_bound_of(std::span<const Dose> doses, const RatedFit& fit, std::size_t rate,
                      double confidence) {
  need_of_response(confidence > 0.5, "response: confidence must lie between 0.5 and 1");
  const RatedSearch search(doses, fit.model);
  const Parameters best = scaled_parameters(fit, search.scaled());
  need_of_response(search.box().lower[rate] < search.box().upper[rate],
                   "response: a rate that is held has no bound");
  HeldProfile profile(search, tops_of(fit, search.scaled()), rate);
  Unlikeliness<HeldProfile> unlikely(profile, fit.log_likelihood,
                                     two_sided_z(2.0 * confidence - 1.0));
  return std::min(end_towards(best[rate], 0.02, most_rate, unlikely), most_rate);
}

}  // namespace

double share_at(const RatedFit& fit, double strength) {
  return FreeCurves{fit.model.link}
      .with({fit.intercept, fit.slope, fit.guess, fit.lapse})(strength)
      .share;
}

std::optional<double> strength_of(const RatedFit& fit, double share) {
  const double core = (share - fit.guess) / (1.0 - fit.guess - fit.lapse);
  if (!(core > 0.0) || !(core < 1.0) || !(fit.slope > 0.0)) return std::nullopt;
  return (eta_of(fit.model.link, core) - fit.intercept) / fit.slope;
}

std::optional<RatedFit> fit_rated(std::span<const Dose> doses, const RatedModel& model) {
  need_doses(doses);
  need_of_response(is_within(model.guess.value, 0.0, most_rate) &&
                       is_within(model.lapse.value, 0.0, most_rate) &&
                       model.guess.value + model.lapse.value < 1.0,
                   "response: a rate must lie between 0 and 0.5");
  const RatedSearch search(doses, model);
  const Separation separation = separation_of(doses);
  if (!search.scaled().strengths_differ() || separation == Separation::one_class) {
    return std::nullopt;
  }
  const bool has_rates =
      search.has_free_rate() || model.guess.value > 0.0 || model.lapse.value > 0.0;
  if (!has_rates && separation != Separation::overlap) return std::nullopt;
  const std::vector<Climbed> tops = search.tops();
  RatedFit fit{unscaled_curve(tops.front().at, search.scaled())};
  fit.model = model;
  fit.log_likelihood = tops.front().log_likelihood;
  fit.is_step = separation != Separation::overlap ||
                tops.front().at[at_slope] > 0.9 * search.box().upper[at_slope];
  for (std::size_t i = 1; i < tops.size(); ++i) {
    fit.other_tops.push_back(unscaled_curve(tops[i].at, search.scaled()));
  }
  return fit;
}

Interval profile_strength(std::span<const Dose> doses, const RatedFit& fit, double share,
                          double confidence) {
  need_of_response(share > 0.0 && share < 1.0, "response: a share must lie between 0 and 1");
  const double z = two_sided_z(confidence);
  Interval interval = profile_between(endless, -endless, confidence, "profile likelihood");
  widen_strength(interval, doses, fit, share, z * z / 2.0);
  if (interval.lower > interval.upper) std::swap(interval.lower, interval.upper);
  return interval;
}

void widen_strength(Interval& interval, std::span<const Dose> doses, const RatedFit& other,
                    double share, double most_loss) {
  if (!(most_loss > 0.0)) return;
  const RatedSearch search(doses, other.model);
  const bool can_have_it =
      search.has_free_rate() || strength_of(other, share) || other.slope == 0.0;
  if (!can_have_it) return;
  const Scaled& scaled = search.scaled();
  const Parameters best = scaled_parameters(other, scaled);
  StrengthProfile profile(search, tops_of(other, scaled), share);
  Unlikeliness<StrengthProfile> unlikely(profile, other.log_likelihood, std::sqrt(2.0 * most_loss));
  const double least = other.log_likelihood - most_loss;
  const bool may_lack_lower = profile.may_lack_lower_end(least);
  const bool may_lack_upper = profile.may_lack_upper_end(least);
  if (may_lack_lower) interval.lower = -endless;
  if (may_lack_upper) interval.upper = endless;
  const auto from = likely_strength(other, share, scaled, unlikely);
  if (!from) return;
  const double step = std::clamp(0.3 / best[at_slope], 1e-4, 1.0);
  if (!may_lack_lower && interval.lower > -endless) {
    const double end = wider_end(*from, scaled.scaled(interval.lower), -step, -far_away, unlikely);
    interval.lower = std::min(interval.lower, scaled.unscaled(end));
  }
  profile.begin_again();
  if (!may_lack_upper && interval.upper < endless) {
    const double end = wider_end(*from, scaled.scaled(interval.upper), step, far_away, unlikely);
    interval.upper = std::max(interval.upper, scaled.unscaled(end));
  }
}

Interval profile_slope(std::span<const Dose> doses, const RatedFit& fit, double confidence) {
  const double z = two_sided_z(confidence);
  Interval interval = profile_between(endless, -endless, confidence, "profile likelihood");
  widen_slope(interval, doses, fit, z * z / 2.0);
  return interval;
}

void widen_slope(Interval& interval, std::span<const Dose> doses, const RatedFit& other,
                 double most_loss) {
  if (!(most_loss > 0.0)) return;
  const RatedSearch search(doses, other.model);
  const double unit = search.scaled().unit();
  const Parameters best = scaled_parameters(other, search.scaled());
  HeldProfile profile(search, tops_of(other, search.scaled()), at_slope);
  Unlikeliness<HeldProfile> unlikely(profile, other.log_likelihood, std::sqrt(2.0 * most_loss));
  const double step = std::max(0.2 * best[at_slope], 1e-3);
  const double lower = wider_end(best[at_slope], interval.lower * unit, -step, 0.0, unlikely);
  const double upper = wider_end(best[at_slope], interval.upper * unit, step,
                                 search.box().upper[at_slope], unlikely);
  interval.lower = std::min(interval.lower, std::max(lower, 0.0) / unit);
  interval.upper = std::max(interval.upper, upper / unit);
}

double upper_bound_of_guess(std::span<const Dose> doses, const RatedFit& fit, double confidence) {
  return upper_bound_of(doses, fit, at_guess, confidence);
}

double upper_bound_of_lapse(std::span<const Dose> doses, const RatedFit& fit, double confidence) {
  return upper_bound_of(doses, fit, at_lapse, confidence);
}

std::vector<BandPoint> band_of(std::span<const Dose> doses, const RatedFit& fit,
                               std::span<const double> strengths, double confidence) {
  const double z = two_sided_z(confidence);
  const RatedSearch search(doses, fit.model);
  const Parameters best = scaled_parameters(fit, search.scaled());
  const FreeCurves curves{fit.model.link};
  const LikelihoodAt here = likelihood_at(search.scaled().doses(), best, curves);
  const auto varies = varying(search.box(), best);
  const RatedShape curve = curves.with(best);
  std::vector<BandPoint> band;
  for (const double strength : strengths) {
    const ShareAt point = curve(search.scaled().scaled(strength));
    const double variance = variance_along(here, varies, point.by);
    const double half_width =
        fit.is_step ? endless : z * std::sqrt(variance) / point.share / point.rest;
    band.push_back(band_point(strength, point, half_width));
  }
  return band;
}

}  // namespace plexor::analysis
