#include "analysis/response/strength_response.hpp"

#include <algorithm>
#include <array>
#include <boost/math/constants/constants.hpp>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <memory>

#include "analysis/response/penalised_profile.hpp"
#include "analysis/response/scaled_doses.hpp"
#include "analysis/response/strength_words.hpp"
#include "scenario/threshold_belief.hpp"

namespace plexor::analysis {
namespace {

constexpr std::size_t most_believed_speeds = 200;

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

/// The curves without rates, with one, with both.
struct Candidates {
  RatedFit plain;
  RatedFit with_guess;
  RatedFit with_lapse;
  RatedFit with_both;

  [[nodiscard]] std::array<const RatedFit*, 4> all() const {
    return {&plain, &with_guess, &with_lapse, &with_both};
  }
};

Candidates candidates_of(DoseSpan doses) {
  return {.plain = fit_with(doses, false, false),
          .with_guess = fit_with(doses, true, false),
          .with_lapse = fit_with(doses, false, true),
          .with_both = fit_with(doses, true, true)};
}

int rates_of(const RatedFit& fit) {
  return (fit.model.guess.is_free ? 1 : 0) + (fit.model.lapse.is_free ? 1 : 0);
}

/// Of log likelihood, for the rate to be taken into the curve.
double least_gain_of_rate() {
  return quantile(boost::math::chi_squared(1.0), 1.0 - 2.0 * rare) / 2.0;
}

double merit_of(const RatedFit& fit) {
  return fit.log_likelihood - least_gain_of_rate() * rates_of(fit);
}

const RatedFit& taken_of(const Candidates& candidates) {
  const RatedFit* taken = &candidates.plain;
  for (const RatedFit* fit : candidates.all()) {
    if (merit_of(*fit) > merit_of(*taken)) taken = fit;
  }
  return *taken;
}

/// What the curve with the rate, and the one without it, say of it.
RateBesideStrength rate_of(const RatedFit& with, const RatedFit& without, double rate, double upper,
                           bool is_in_curve) {
  return {.is_in_curve = is_in_curve,
          .rate = is_in_curve ? rate : 0.0,
          .upper = upper,
          .p = p_at_the_end(with.log_likelihood, without.log_likelihood)};
}

void add_rates(StrengthResponse& response, DoseSpan doses, const Candidates& candidates,
               const RatedFit& taken, double confidence) {
  const bool has_guess = taken.model.guess.is_free;
  const bool has_lapse = taken.model.lapse.is_free;
  const RatedFit& with_guess = has_lapse ? candidates.with_both : candidates.with_guess;
  const RatedFit& without_guess = has_lapse ? candidates.with_lapse : candidates.plain;
  const RatedFit& with_lapse = has_guess ? candidates.with_both : candidates.with_lapse;
  const RatedFit& without_lapse = has_guess ? candidates.with_guess : candidates.plain;
  response.guess = rate_of(with_guess, without_guess, taken.guess,
                           upper_bound_of_guess(doses, with_guess, confidence), has_guess);
  response.lapse = rate_of(with_lapse, without_lapse, taken.lapse,
                           upper_bound_of_lapse(doses, with_lapse, confidence), has_lapse);
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
  strengths.reserve(curve_points);
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

/// The intervals of `taken`, with what the other candidates allow in addition.
class WideIntervals {
 public:
  WideIntervals(DoseSpan doses, const Candidates& candidates, const RatedFit& taken,
                double confidence)
      : doses_(doses), candidates_(candidates), taken_(taken), confidence_(confidence) {
    const double z = two_sided_z(confidence);
    most_loss_ = z * z / 2.0;
  }

  [[nodiscard]] Interval slope() const {
    Interval interval = profile_slope(doses_, taken_, confidence_);
    for (const RatedFit* other : others()) {
      widen_slope(interval, doses_, *other, loss_of(*other));
    }
    return interval;
  }

  [[nodiscard]] Interval strength(double share, const Interval& of_taken) const {
    Interval interval = of_taken;
    for (const RatedFit* other : others()) {
      widen_strength(interval, doses_, *other, share, loss_of(*other));
    }
    return interval;
  }

 private:
  /// What curves like this may lose against the best of them. One with more rates begins with the
  /// merit it lacks; one with fewer only where the rates taken gained twice what it took.
  [[nodiscard]] double loss_of(const RatedFit& other) const {
    const double lacks = merit_of(taken_) - merit_of(other);
    const double lead = least_gain_of_rate() * std::max(0, rates_of(taken_) - rates_of(other));
    return most_loss_ - std::max(0.0, lacks - lead);
  }

  [[nodiscard]] std::vector<const RatedFit*> others() const {
    std::vector<const RatedFit*> found;
    for (const RatedFit* fit : candidates_.all()) {
      if (fit != &taken_) found.push_back(fit);
    }
    return found;
  }

  DoseSpan doses_;
  const Candidates& candidates_;
  const RatedFit& taken_;
  double confidence_;
  double most_loss_ = 0.0;
};

/// Takes in what placement believes of S50 after these answers; with half the error, because the
/// run also stops where it looks sure.
Interval with_belief(Interval interval, DoseSpan doses, double confidence) {
  constexpr double um_s_per_m_s = 1e6;
  std::vector<base::StrikeSpeed> speeds;
  for (const Dose& dose : doses) {  // merged: rising, each once
    const base::StrikeSpeed speed{std::llround(std::exp(dose.strength) * um_s_per_m_s)};
    if (speeds.empty() || speeds.back() < speed) speeds.push_back(speed);
  }
  if (speeds.size() < 2 || speeds.size() > most_believed_speeds) return interval;
  scenario::ThresholdBelief belief(
      std::make_shared<const scenario::CurveGrid>(speeds, scenario::HeardShare::half));
  for (const Dose& dose : doses) {
    const base::StrikeSpeed speed{std::llround(std::exp(dose.strength) * um_s_per_m_s)};
    const auto index = static_cast<std::size_t>(
        std::lower_bound(speeds.begin(), speeds.end(), speed) - speeds.begin());
    for (std::uint64_t i = 0; i < dose.trials; ++i) belief.learn(index, i < dose.responded);
  }
  const double tail = (1.0 - confidence) / 4.0;
  const auto at = [&](double p) { return belief.quantile(scenario::HeardShare::half, p); };
  interval.lower = std::min(interval.lower, at(tail));
  interval.upper = std::max(interval.upper, at(1.0 - tail));
  return interval;
}

/// By maximum likelihood. False where the slope is not shown.
bool add_likely_curve(StrengthResponse& response, DoseSpan doses, double confidence,
                      std::string_view unit, bool placed_by_answers) {
  const Candidates candidates = candidates_of(doses);
  const RatedFit& fit = taken_of(candidates);
  const WideIntervals intervals(doses, candidates, fit, confidence);
  const Interval slope = intervals.slope();
  if (!(slope.lower > 0.0)) return false;
  response.basis = ResponseBasis::likelihood;
  response.link = fit.model.link;
  add_rates(response, doses, candidates, fit, confidence);
  add_slope(response, fit.intercept, fit.slope, slope);
  response.why_this_curve = why_this_curve(response);
  const bool has_rates = response.guess.is_in_curve || response.lapse.is_in_curve;
  const auto normal = has_rates ? std::nullopt : fit_response(doses, response.link);
  for (auto* place : {&response.s50, &response.s95}) {
    const double share = place == &response.s50 ? 0.5 : 0.95;
    const Interval of_this_curve = profile_strength(doses, fit, share, confidence);
    Interval interval = intervals.strength(share, of_this_curve);
    if (placed_by_answers && share == 0.5) interval = with_belief(interval, doses, confidence);
    add_threshold(response, *place,
                  {.share = share,
                   .strength = strength_of(fit, share),
                   .profile = interval,
                   .of_this_curve = of_this_curve,
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
    const Interval interval = penalised_strength_interval(doses, *fit, share, confidence);
    add_threshold(response, *place,
                  {.share = share,
                   .strength = (eta_of(fit->link, share) - fit->intercept) / fit->slope,
                   .profile = interval,
                   .of_this_curve = interval,
                   .fieller = fieller_of(fit, share, confidence)},
                  unit);
  }
  response.curve = penalised_band(*fit, doses, two_sided_z(confidence), curve_strengths(response));
  response.remarks = strength_remarks(response, false, unit);
  return true;
}

}  // namespace

StrengthResponse strength_response(std::span<const Dose> doses, double confidence,
                                   std::string_view unit, bool placed_by_answers) {
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
  const bool is_shown =
      separation_of(together) == Separation::overlap
          ? add_likely_curve(response, together, confidence, unit, placed_by_answers)
          : add_penalised_curve(response, together, confidence, unit);
  response.word = is_shown ? answer_of(response, unit) : why_no_slope(response);
  return response;
}

}  // namespace plexor::analysis
