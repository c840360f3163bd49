#include "analysis/response/strength_response.hpp"

#include <algorithm>
#include <boost/math/constants/constants.hpp>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/normal.hpp>
#include <cmath>

#include "analysis/response/penalised_profile.hpp"
#include "analysis/response/scaled_doses.hpp"
#include "analysis/response/strength_words.hpp"

namespace plexor::analysis {
namespace {

using DoseSpan = std::span<const Dose>;

constexpr double rare = 0.05;  // what calls for a rate in the curve, or speaks against the fit
constexpr std::uint64_t most_shown = 12;
constexpr int curve_points = 60;

/// The p-value of a likelihood ratio to a rate of 0, the end of its range.
double p_at_the_end(double log_likelihood, double log_likelihood_without) {
  const double ratio = 2.0 * (log_likelihood - log_likelihood_without);
  if (!(ratio > 0.0)) return 1.0;
  return 0.5 * cdf(complement(boost::math::chi_squared(1.0), ratio));
}

RatedFit fit_with(DoseSpan doses, bool guess_is_free, bool lapse_is_free) {
  return fit_rated(doses, {.link = Link::probit,
                           .guess = {.value = 0.0, .is_free = guess_is_free},
                           .lapse = {.value = 0.0, .is_free = lapse_is_free}})
      .value();
}

/// The curve taken, and what was found on the way to it.
struct Choice {
  RatedFit fit;
  RateBesideStrength guess;
  RateBesideStrength lapse;
};

RateBesideStrength rate_in_curve(double rate, double p, double upper) {
  return {.is_in_curve = true, .rate = rate, .upper = upper, .p = p};
}
RateBesideStrength rate_left_out(double p, double upper) { return {.upper = upper, .p = p}; }

/// Guess and lapse rate enter one after the other, the more likely first, each only where the data
/// ask for it.
Choice choice_of(DoseSpan doses, double confidence) {
  const RatedFit plain = fit_with(doses, false, false);
  const RatedFit guess = fit_with(doses, true, false);
  const RatedFit lapse = fit_with(doses, false, true);
  const double p_guess = p_at_the_end(guess.log_likelihood, plain.log_likelihood);
  const double p_lapse = p_at_the_end(lapse.log_likelihood, plain.log_likelihood);
  if (std::min(p_guess, p_lapse) >= rare) {
    return {.fit = plain,
            .guess = rate_left_out(p_guess, upper_bound_of_guess(doses, guess, confidence)),
            .lapse = rate_left_out(p_lapse, upper_bound_of_lapse(doses, lapse, confidence))};
  }
  const RatedFit both = fit_with(doses, true, true);
  const bool lapse_first = p_lapse <= p_guess;
  const RatedFit& first = lapse_first ? lapse : guess;
  const double p_second = p_at_the_end(both.log_likelihood, first.log_likelihood);
  const RatedFit& taken = p_second < rare ? both : first;
  Choice choice{.fit = taken, .guess = {}, .lapse = {}};
  const double guess_bound =
      upper_bound_of_guess(doses, taken.model.guess.is_free ? taken : both, confidence);
  const double lapse_bound =
      upper_bound_of_lapse(doses, taken.model.lapse.is_free ? taken : both, confidence);
  choice.guess = taken.model.guess.is_free
                     ? rate_in_curve(taken.guess, lapse_first ? p_second : p_guess, guess_bound)
                     : rate_left_out(p_second, guess_bound);
  choice.lapse = taken.model.lapse.is_free
                     ? rate_in_curve(taken.lapse, lapse_first ? p_lapse : p_second, lapse_bound)
                     : rate_left_out(p_second, lapse_bound);
  return choice;
}

/// Standard deviation of the threshold where eta rises by 1 per unit of strength.
double deviation_of(Link link) {
  using boost::math::double_constants::pi;
  using boost::math::double_constants::root_three;
  using boost::math::double_constants::root_two;
  switch (link) {
    case Link::logit: return pi / root_three;
    case Link::probit: return 1.0;
    case Link::cloglog: return pi / (root_two * root_three);
  }
  return 1.0;
}

void add_slope(StrengthResponse& response, double intercept, double slope,
               const Interval& slope_interval) {
  const double deviation = deviation_of(response.link);
  response.intercept = intercept;
  response.slope = slope;
  response.spread = deviation / slope;
  response.spread_interval = slope_interval;
  response.spread_interval.lower = deviation / slope_interval.upper;
  response.spread_interval.upper = deviation / slope_interval.lower;
}

void add_shown(StrengthResponse& response, DoseSpan doses, double confidence) {
  for (const Dose& dose : grouped_doses(doses, most_shown)) {
    response.shown.push_back(
        {.strength = dose.strength,
         .responded = dose.responded,
         .trials = dose.trials,
         .wilson = wilson(dose.responded, dose.trials, confidence, Sides::two)});
  }
}

void add_counts(StrengthResponse& response, DoseSpan together) {
  if (together.empty()) return;
  for (const Dose& dose : together) {
    response.trials += dose.trials;
    response.responded += dose.responded;
  }
  response.weakest = together.front().strength;
  response.strongest = together.back().strength;
}

/// From the weakest to the strongest tapped, on to the thresholds where they lie not much further.
std::vector<double> curve_strengths(const StrengthResponse& response) {
  const double range = response.strongest - response.weakest;
  double from = response.weakest;
  double to = response.strongest;
  for (const auto* threshold : {&response.s50, &response.s95}) {
    const double at = (*threshold)->strength.value_or(response.weakest);
    from = std::min(from, std::max(at, response.weakest - range));
    to = std::max(to, std::min(at, response.strongest + range));
  }
  std::vector<double> strengths;
  for (int i = 0; i < curve_points; ++i) {
    strengths.push_back(from + (to - from) * i / (curve_points - 1));
  }
  return strengths;
}

std::vector<BandPoint> penalised_band(const ResponseFit& fit, DoseSpan, double z,
                                      const std::vector<double>& strengths) {
  std::vector<BandPoint> band;
  for (const double x : strengths) {
    const double eta = fit.intercept + fit.slope * x;
    const double variance =
        fit.intercept_variance + 2.0 * x * fit.covariance + x * x * fit.slope_variance;
    const double half = z * std::sqrt(std::max(variance, 0.0));
    band.push_back({.strength = x,
                    .share = share_at(Link::logit, eta),
                    .lower = share_at(Link::logit, eta - half),
                    .upper = share_at(Link::logit, eta + half)});
  }
  return band;
}

void add_threshold(StrengthResponse& response, std::optional<StrengthAtShare>& place,
                   StrengthAtShare threshold, std::string_view unit) {
  if (threshold.strength) {
    threshold.is_extrapolated =
        *threshold.strength < response.weakest || *threshold.strength > response.strongest;
  }
  threshold.word = word_of(threshold, response, unit);
  place = std::move(threshold);
}

void add_goodness(StrengthResponse& response, DoseSpan doses, const RatedFit& fit) {
  response.goodness = grouped_fit(doses, fit);
  if (!response.goodness || response.goodness->p >= rare) return;
  response.heterogeneity =
      std::max(1.0, response.goodness->chi_square / response.goodness->degrees);
}

std::optional<Interval> fieller_of(const std::optional<ResponseFit>& fit, double share,
                                   double confidence) {
  if (!fit) return std::nullopt;
  const auto threshold = threshold_of(*fit, share, confidence);
  return threshold ? threshold->fieller : std::nullopt;
}

/// By maximum likelihood. False where the slope is not shown.
bool add_likely_curve(StrengthResponse& response, DoseSpan doses, double confidence,
                      std::string_view unit) {
  const Choice choice = choice_of(doses, confidence);
  const RatedFit& fit = choice.fit;
  const Interval slope = profile_slope(doses, fit, confidence);
  if (!(slope.lower > 0.0)) return false;
  response.basis = ResponseBasis::likelihood;
  response.link = fit.model.link;
  response.guess = choice.guess;
  response.lapse = choice.lapse;
  add_slope(response, fit.intercept, fit.slope, slope);
  response.why_this_curve = why_this_curve(response);
  const bool has_rates = response.guess.is_in_curve || response.lapse.is_in_curve;
  const auto normal = has_rates ? std::nullopt : fit_response(doses, response.link);
  for (auto* place : {&response.s50, &response.s95}) {
    const double share = place == &response.s50 ? 0.5 : 0.95;
    add_threshold(response, *place,
                  {.share = share,
                   .strength = strength_of(fit, share),
                   .profile = profile_strength(doses, fit, share, confidence),
                   .fieller = fieller_of(normal, share, confidence)},
                  unit);
  }
  add_goodness(response, doses, fit);
  response.curve = band_of(doses, fit, curve_strengths(response), confidence);
  response.remarks = strength_remarks(response, fit.is_step, unit);
  return true;
}

/// With Firth's penalty. False where the slope is not shown.
bool add_penalised_curve(StrengthResponse& response, DoseSpan doses, double confidence,
                         std::string_view unit) {
  const auto fit = fit_penalised(doses);
  if (!fit || !(fit->slope > 0.0)) return false;
  const Interval slope = penalised_slope_interval(doses, *fit, confidence);
  if (!(slope.lower > 0.0)) return false;
  response.basis = ResponseBasis::penalised;
  response.link = fit->link;
  response.guess.upper = upper_bound_of_guess(doses, fit_with(doses, true, false), confidence);
  response.lapse.upper = upper_bound_of_lapse(doses, fit_with(doses, false, true), confidence);
  add_slope(response, fit->intercept, fit->slope, slope);
  response.why_this_curve = why_this_curve(response);
  for (auto* place : {&response.s50, &response.s95}) {
    const double share = place == &response.s50 ? 0.5 : 0.95;
    add_threshold(response, *place,
                  {.share = share,
                   .strength = (eta_of(fit->link, share) - fit->intercept) / fit->slope,
                   .profile = penalised_strength_interval(doses, *fit, share, confidence),
                   .fieller = fieller_of(fit, share, confidence)},
                  unit);
  }
  response.curve = penalised_band(*fit, doses, two_sided_z(confidence), curve_strengths(response));
  response.remarks = strength_remarks(response, false, unit);
  return true;
}

}  // namespace

StrengthResponse strength_response(std::span<const Dose> doses, double confidence,
                                   std::string_view unit) {
  need_doses(doses);
  need_of_response(confidence > 0.5 && confidence < 1.0,
                   "response: confidence must lie between 0.5 and 1");
  const std::vector<Dose> together = merged(doses);
  StrengthResponse response;
  add_counts(response, together);
  add_shown(response, together, confidence);
  if (auto why = why_no_curve(response, unit)) {
    response.word = std::move(*why);
    return response;
  }
  const bool is_shown = separation_of(together) == Separation::overlap
                            ? add_likely_curve(response, together, confidence, unit)
                            : add_penalised_curve(response, together, confidence, unit);
  response.word = is_shown ? answer_of(response, unit) : why_no_slope(response);
  return response;
}

}  // namespace plexor::analysis
