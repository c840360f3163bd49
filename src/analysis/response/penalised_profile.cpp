#include "analysis/response/penalised_profile.hpp"

#include <algorithm>
#include <boost/math/tools/minima.hpp>
#include <cmath>
#include <limits>

#include "analysis/response/profile_ends.hpp"
#include "analysis/response/scaled_doses.hpp"

namespace plexor::analysis {
namespace {

constexpr double furthest_strength = 1e6;  // of scaled ones
constexpr const char* penalised_method = "penalised profile likelihood";

/// The top of a function with one: by Brent's search around `near`, wider where the top lies at an
/// end of what was searched.
template <typename Function>
std::pair<double, double> top_of(Function function, double near, double reach, double lower,
                                 double upper) {
  constexpr int bits = 18;
  for (int i = 0;; ++i) {
    const double from = std::max(near - reach, lower);
    const double to = std::min(near + reach, upper);
    std::uintmax_t most_calls = 100;
    const auto [at, least] = boost::math::tools::brent_find_minima(
        [&](double x) { return -function(x); }, from, to, bits, most_calls);
    const double margin = 0.02 * (to - from);
    const bool is_inside =
        (at > from + margin || from == lower) && (at < to - margin || to == upper);
    if (is_inside || i == 12) return {at, -least};
    near = at;
    reach *= 3.0;
  }
}

/// The best penalised likelihood of curves with this share at a strength, by the slope.
class PenalisedStrength {
 public:
  PenalisedStrength(std::span<const Dose> doses, double slope, double share)
      : doses_(doses), log_slope_(std::log(slope)), eta_(eta_of(Link::logit, share)) {}

  double operator()(double strength) {
    constexpr double flattest = -14.0;
    constexpr double steepest_log = 12.0;
    const auto at = [&](double log_slope) {
      const double slope = std::exp(log_slope);
      return penalised_log_likelihood(doses_, eta_ - slope * strength, slope);
    };
    const auto [top, most] = top_of(at, log_slope_, 0.7, flattest, steepest_log);
    log_slope_ = top;
    return most;
  }

 private:
  std::span<const Dose> doses_;
  double log_slope_;
  double eta_;
};

/// The best penalised likelihood of curves with this slope, by the middle of the curve.
class PenalisedSlope {
 public:
  PenalisedSlope(std::span<const Dose> doses, double intercept)
      : doses_(doses), intercept_(intercept) {}

  double operator()(double slope) {
    const auto at = [&](double intercept) {
      return penalised_log_likelihood(doses_, intercept, slope);
    };
    const auto [top, most] = top_of(at, intercept_, 1.0, -1e6, 1e6);
    intercept_ = top;
    return most;
  }

 private:
  std::span<const Dose> doses_;
  double intercept_;
};

/// The best flat curve whose share lies within these ends: the penalty adds one response and one
/// failure.
double flat_penalised(std::span<const Dose> doses, double lower, double upper) {
  double responded = 0.0;
  double trials = 0.0;
  for (const Dose& dose : doses) {
    responded += as_real(dose.responded);
    trials += as_real(dose.trials);
  }
  const double share = std::clamp((responded + 1.0) / (trials + 2.0), lower, upper);
  return penalised_log_likelihood(doses, eta_of(Link::logit, share), 0.0);
}

}  // namespace

double penalised_log_likelihood(std::span<const Dose> doses, double intercept, double slope) {
  double log_likelihood = 0.0;
  double weights = 0.0;
  double first = 0.0;
  double second = 0.0;
  for (const Dose& dose : doses) {
    const double eta = intercept + slope * dose.strength;
    const double log_rest_of_far = -std::log1p(std::exp(-std::abs(eta)));  // of the nearer side
    const double log_share = eta < 0.0 ? eta + log_rest_of_far : log_rest_of_far;
    log_likelihood += as_real(dose.responded) * log_share +
                      as_real(dose.trials - dose.responded) * (log_share - eta);
    const double weight = as_real(dose.trials) * std::exp(2.0 * log_share - eta);
    weights += weight;
    first += weight * dose.strength;
    second += weight * dose.strength * dose.strength;
  }
  const double determinant = weights * second - first * first;
  if (!(determinant > 0.0)) return -std::numeric_limits<double>::infinity();
  return log_likelihood + 0.5 * std::log(determinant);
}

Interval penalised_strength_interval(std::span<const Dose> doses, const ResponseFit& fit,
                                     double share, double confidence) {
  constexpr double endless_strength = std::numeric_limits<double>::infinity();
  const double z = two_sided_z(confidence);
  need_of_response(share > 0.0 && share < 1.0, "response: a share must lie between 0 and 1");
  const auto together = merged(doses);
  const Scaled scaled(together);
  const double slope = fit.slope * scaled.unit();
  const double intercept = fit.intercept + fit.slope * scaled.centre();
  if (!(slope > 0.0)) {
    return profile_between(-endless_strength, endless_strength, confidence, penalised_method);
  }
  PenalisedStrength profile(scaled.doses(), slope, share);
  Unlikeliness<PenalisedStrength> unlikely(
      profile, penalised_log_likelihood(scaled.doses(), intercept, slope), z);
  const double from = (eta_of(Link::logit, share) - intercept) / slope;
  const double step = std::clamp(0.5 / slope, 1e-4, 1.0);
  const bool has_lower = unlikely.of(flat_penalised(scaled.doses(), share, 1.0)) > 0.0;
  const bool has_upper = unlikely.of(flat_penalised(scaled.doses(), 0.0, share)) > 0.0;
  const double lower =
      has_lower ? end_towards(from, -step, -furthest_strength, unlikely) : -endless_strength;
  const double upper =
      has_upper ? end_towards(from, step, furthest_strength, unlikely) : endless_strength;
  return profile_between(scaled.unscaled(lower), scaled.unscaled(upper), confidence,
                         penalised_method);
}

Interval penalised_slope_interval(std::span<const Dose> doses, const ResponseFit& fit,
                                  double confidence) {
  const double z = two_sided_z(confidence);
  const auto together = merged(doses);
  const Scaled scaled(together);
  const double slope = std::max(fit.slope * scaled.unit(), 0.0);
  const double intercept = fit.intercept + fit.slope * scaled.centre();
  PenalisedSlope profile(scaled.doses(), intercept);
  Unlikeliness<PenalisedSlope> unlikely(
      profile, penalised_log_likelihood(scaled.doses(), intercept, slope), z);
  const double step = std::max(0.3 * slope, 1e-3);
  const double lower = end_towards(slope, -step, 0.0, unlikely);
  const double upper = end_towards(slope, step, furthest_strength, unlikely);
  return profile_between(std::max(lower, 0.0) / scaled.unit(), upper / scaled.unit(), confidence,
                         penalised_method);
}

}  // namespace plexor::analysis
