#include "analysis/response/rated_search.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <utility>

namespace plexor::analysis {
namespace {

constexpr double steepest = 1000.0;      // of scaled strengths, which lie within -1 and 1
constexpr double most_steepening = 8.0;  // by free rates
constexpr double roughly = 1e-3;
constexpr double fully = 1e-12;

Box box_of(const RatedModel& model) {
  const auto least = [](const SideRate& rate) { return rate.is_free ? 0.0 : rate.value; };
  const auto most = [](const SideRate& rate) { return rate.is_free ? most_rate : rate.value; };
  return {.lower = {-furthest_eta, 0.0, least(model.guess), least(model.lapse)},
          .upper = {furthest_eta, steepest, most(model.guess), most(model.lapse)}};
}

}  // namespace

RatedSearch::RatedSearch(std::span<const Dose> doses, const RatedModel& model)
    : merged_(merged(doses)), scaled_(merged_), model_(model), box_(box_of(model)) {
  plain_ = best_plain();
  if (has_free_rate()) {
    box_.upper[at_slope] = std::min(steepest, most_steepening * std::max(plain_[at_slope], 1.0));
  }
}

Climbed RatedSearch::best_within(const Box& box, const Parameters& start, double enough) const {
  return climb_within(scaled_.doses(), box, start, enough, FreeCurves{model_.link});
}

std::vector<Climbed> RatedSearch::tops() const {
  if (!has_free_rate()) return {best_within(box_, plain_, fully)};
  std::vector<Climbed> found{best_within(box_, plain_, roughly)};
  for (const auto& [steeper, shift] : {std::pair{1.5, 0.0}, {3.0, -0.5}, {3.0, 0.5}}) {
    const Parameters start{(plain_[at_place] + shift) * steeper, plain_[at_slope] * steeper, 0.05,
                           0.05};
    found.push_back(best_within(box_, start, roughly));
  }
  return highest_of(std::move(found));
}

double RatedSearch::flat_within(double lower, double upper) const {
  double responded = 0.0;
  double trials = 0.0;
  for (const Dose& dose : scaled_.doses()) {
    responded += as_real(dose.responded);
    trials += as_real(dose.trials);
  }
  const double share = std::clamp(responded / trials, lower, upper);
  return (responded > 0.0 ? responded * std::log(share) : 0.0) +
         (responded < trials ? (trials - responded) * std::log1p(-share) : 0.0);
}

Parameters RatedSearch::best_plain() const {
  Box box = box_;
  box.upper[at_guess] = box_.lower[at_guess];
  box.upper[at_lapse] = box_.lower[at_lapse];
  return best_within(box, {0.0, 1.0, box_.lower[at_guess], box_.lower[at_lapse]}, roughly).at;
}

std::vector<Climbed> RatedSearch::highest_of(std::vector<Climbed> found) const {
  constexpr double far_below = 4.0;
  constexpr double apart = 0.02;  // of log likelihood
  std::ranges::sort(found, std::ranges::greater{}, &Climbed::log_likelihood);
  std::vector<Climbed> tops;
  for (const Climbed& rough : found) {
    if (rough.log_likelihood < found.front().log_likelihood - far_below) break;
    const auto is_same = [&](const Climbed& top) {
      return std::abs(top.log_likelihood - rough.log_likelihood) < apart;
    };
    if (std::ranges::any_of(tops, is_same)) continue;
    const Climbed top = best_within(box_, rough.at, fully);
    if (std::ranges::none_of(tops, [&](const Climbed& other) {
          return std::abs(top.log_likelihood - other.log_likelihood) < apart;
        })) {
      tops.push_back(top);
    }
  }
  std::ranges::sort(tops, std::ranges::greater{}, &Climbed::log_likelihood);
  return tops;
}

Parameters scaled_parameters(const RatedCurve& curve, const Scaled& scaled) {
  return {curve.intercept + curve.slope * scaled.centre(), curve.slope * scaled.unit(), curve.guess,
          curve.lapse};
}

RatedCurve unscaled_curve(const Parameters& at, const Scaled& scaled) {
  return {.guess = at[at_guess],
          .lapse = at[at_lapse],
          .intercept = at[at_place] - at[at_slope] * scaled.centre() / scaled.unit(),
          .slope = at[at_slope] / scaled.unit()};
}

std::vector<Parameters> tops_of(const RatedFit& fit, const Scaled& scaled) {
  std::vector<Parameters> tops{scaled_parameters(fit, scaled)};
  for (const RatedCurve& top : fit.other_tops) tops.push_back(scaled_parameters(top, scaled));
  return tops;
}

}  // namespace plexor::analysis
