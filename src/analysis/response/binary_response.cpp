#include "analysis/response/binary_response.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <limits>
#include <stdexcept>
#include <utility>
#include <vector>

#include "analysis/response/scaled_doses.hpp"

namespace plexor::analysis {
namespace {

using Doses = std::span<const Dose>;

/// d share / d eta
double slope_at(Link link, double eta) {
  switch (link) {
    case Link::logit: return share_at(link, eta) * share_at(link, -eta);
    case Link::probit: return pdf(boost::math::normal(), eta);
    case Link::cloglog: return std::exp(eta - std::exp(eta));
  }
  return 0.0;
}

/// A share kept from 0 and 1, where its logarithm ends.
double inner_share(Link link, double eta) {
  constexpr double least = 1e-15;
  return std::clamp(share_at(link, eta), least, 1.0 - least);
}

/// Symmetric 2 x 2: Fisher's information of intercept and slope, or its inverse.
struct Matrix {
  double aa = 0.0;
  double ab = 0.0;
  double bb = 0.0;

  [[nodiscard]] std::optional<Matrix> inverse() const {
    const double determinant = aa * bb - ab * ab;
    if (!(determinant > 1e-14 * aa * bb) || !std::isfinite(determinant)) return std::nullopt;
    return Matrix{bb / determinant, -ab / determinant, aa / determinant};
  }
};

struct Line {
  double intercept = 0.0;
  double slope = 0.0;
  [[nodiscard]] double at(double strength) const { return intercept + slope * strength; }
};

double weight(const Dose& dose, Link link, double eta) {
  const double share = inner_share(link, eta);
  const double slope = slope_at(link, eta);
  return as_real(dose.trials) * slope * slope / (share * (1.0 - share));
}

Matrix information_of(Doses doses, Link link, const Line& line) {
  Matrix information;
  for (const Dose& dose : doses) {
    const double w = weight(dose, link, line.at(dose.strength));
    information.aa += w;
    information.ab += w * dose.strength;
    information.bb += w * dose.strength * dose.strength;
  }
  return information;
}

double log_likelihood_of(Doses doses, Link link, const Line& line) {
  double sum = 0.0;
  for (const Dose& dose : doses) {
    const double share = inner_share(link, line.at(dose.strength));
    sum += as_real(dose.responded) * std::log(share) +
           as_real(dose.trials - dose.responded) * std::log1p(-share);
  }
  return sum;
}

/// The score of one dose: what it gives to the derivative of the log likelihood by its eta.
double push_of(const Dose& dose, Link link, double eta) {
  const double share = inner_share(link, eta);
  return (as_real(dose.responded) - as_real(dose.trials) * share) * slope_at(link, eta) /
         (share * (1.0 - share));
}

/// What each dose pushes its eta by, per unit of the score.
template <typename Push>
std::pair<double, double> score_of(Doses doses, Push push) {
  std::pair<double, double> score{0.0, 0.0};
  for (const Dose& dose : doses) {
    const double one = push(dose);
    score.first += one;
    score.second += one * dose.strength;
  }
  return score;
}

double moved(const Line& from, const Line& to) {
  return std::max(std::abs(to.intercept - from.intercept), std::abs(to.slope - from.slope));
}

double size_of(const Line& line) {
  return 1.0 + std::max(std::abs(line.intercept), std::abs(line.slope));
}

constexpr int most_steps = 500;
constexpr double arrived = 1e-14;

/// Newton's way with Fisher's information; `push` is the score of one dose. Steps are shortened to
/// at most 2 units of eta along the doses, which keeps the first ones from overshooting.
template <typename Push>
std::optional<Line> climb(Doses doses, Link link, Push push) {
  Line line;
  for (int step = 0; step < most_steps; ++step) {
    const auto covariance = information_of(doses, link, line).inverse();
    if (!covariance) return std::nullopt;
    const auto [a, b] =
        score_of(doses, [&](const Dose& dose) { return push(dose, line, *covariance); });
    Line move{covariance->aa * a + covariance->ab * b, covariance->ab * a + covariance->bb * b};
    double furthest = 0.0;
    for (const Dose& dose : doses) furthest = std::max(furthest, std::abs(move.at(dose.strength)));
    if (furthest > 2.0) move = {2.0 * move.intercept / furthest, 2.0 * move.slope / furthest};
    const Line next{line.intercept + move.intercept, line.slope + move.slope};
    const bool is_there = moved(line, next) <= arrived * size_of(next);
    line = next;
    if (is_there) break;
  }
  return line;
}

/// The curve for strengths as they were before they were scaled.
ResponseFit unscaled_fit(const Scaled& scaled, Link link, const Line& line,
                         const Matrix& covariance) {
  const double unit = scaled.unit();
  const double centre = scaled.centre();
  const double slope_variance = covariance.bb / (unit * unit);
  const double covariance_at_centre = covariance.ab / unit;
  ResponseFit fit{.link = link,
                  .intercept = line.intercept - line.slope * centre / unit,
                  .slope = line.slope / unit};
  fit.slope_variance = slope_variance;
  fit.covariance = covariance_at_centre - centre * slope_variance;
  fit.intercept_variance =
      covariance.aa - 2.0 * centre * covariance_at_centre + centre * centre * slope_variance;
  return fit;
}

/// x * log(x / expected), 0 for none.
double surprise(double x, double expected) { return x > 0.0 ? x * std::log(x / expected) : 0.0; }

void add_goodness(ResponseFit& fit, Doses doses, const Line& line) {
  for (const Dose& dose : doses) {
    const double n = as_real(dose.trials);
    const double x = as_real(dose.responded);
    const double share = inner_share(fit.link, line.at(dose.strength));
    fit.deviance += 2.0 * (surprise(x, n * share) + surprise(n - x, n * (1.0 - share)));
    fit.pearson += (x - n * share) * (x - n * share) / (n * share * (1.0 - share));
  }
  fit.degrees = as_real(doses.size()) - 2.0;
  fit.log_likelihood = log_likelihood_of(doses, fit.link, line);
}

}  // namespace

double share_at(Link link, double eta) {
  switch (link) {
    case Link::logit: return 1.0 / (1.0 + std::exp(-eta));
    case Link::probit: return cdf(boost::math::normal(), eta);
    case Link::cloglog: return -std::expm1(-std::exp(eta));
  }
  return 0.0;
}

double eta_of(Link link, double share) {
  need_of_response(share > 0.0 && share < 1.0, "response: a share must lie between 0 and 1");
  switch (link) {
    case Link::logit: return std::log(share / (1.0 - share));
    case Link::probit: return quantile(boost::math::normal(), share);
    case Link::cloglog: return std::log(-std::log1p(-share));
  }
  return 0.0;
}

Separation separation_of(Doses doses) {
  constexpr double infinity = std::numeric_limits<double>::infinity();
  double lowest_response = infinity;
  double highest_response = -infinity;
  double lowest_failure = infinity;
  double highest_failure = -infinity;
  for (const Dose& dose : doses) {
    if (dose.responded > 0) {
      lowest_response = std::min(lowest_response, dose.strength);
      highest_response = std::max(highest_response, dose.strength);
    }
    if (dose.responded < dose.trials) {
      lowest_failure = std::min(lowest_failure, dose.strength);
      highest_failure = std::max(highest_failure, dose.strength);
    }
  }
  if (highest_response < lowest_response || highest_failure < lowest_failure) {
    return Separation::one_class;
  }
  if (highest_failure < lowest_response || highest_response < lowest_failure) {
    return Separation::complete;
  }
  if (highest_failure <= lowest_response || highest_response <= lowest_failure) {
    return Separation::quasi_complete;
  }
  return Separation::overlap;
}

std::optional<ResponseFit> fit_response(Doses doses, Link link) {
  need_doses(doses);
  if (separation_of(doses) != Separation::overlap) return std::nullopt;
  const Scaled scaled(doses);
  const auto line =
      climb(scaled.doses(), link, [&](const Dose& dose, const Line& at, const Matrix&) {
        return push_of(dose, link, at.at(dose.strength));
      });
  if (!line) return std::nullopt;
  const auto covariance = information_of(scaled.doses(), link, *line).inverse();
  if (!covariance) return std::nullopt;
  ResponseFit fit = unscaled_fit(scaled, link, *line, *covariance);
  add_goodness(fit, scaled.doses(), *line);
  return fit;
}

std::optional<ResponseFit> fit_penalised(Doses doses) {
  need_doses(doses);
  const Scaled scaled(doses);
  if (!scaled.strengths_differ()) return std::nullopt;
  const auto line = climb(
      scaled.doses(), Link::logit, [](const Dose& dose, const Line& at, const Matrix& covariance) {
        const double x = dose.strength;
        const double eta = at.at(x);
        const double share = inner_share(Link::logit, eta);
        // The leverage of all trials at this strength together.
        const double leverage = weight(dose, Link::logit, eta) *
                                (covariance.aa + 2.0 * covariance.ab * x + covariance.bb * x * x);
        return as_real(dose.responded) - as_real(dose.trials) * share + leverage * (0.5 - share);
      });
  if (!line) return std::nullopt;
  const auto covariance = information_of(scaled.doses(), Link::logit, *line).inverse();
  if (!covariance) return std::nullopt;
  return unscaled_fit(scaled, Link::logit, *line, *covariance);
}

std::optional<Threshold> threshold_of(const ResponseFit& fit, double share, double confidence) {
  const double z = two_sided_z(confidence);
  const double eta = eta_of(fit.link, share);
  if (std::abs(fit.slope) <= 1e-9 * std::sqrt(fit.slope_variance)) return std::nullopt;
  const double a = fit.intercept_variance;
  const double b = fit.slope_variance;
  const double ab = fit.covariance;
  Threshold found{.share = share, .strength = (eta - fit.intercept) / fit.slope};
  const double x = found.strength;
  const double spread = a + 2.0 * x * ab + x * x * b;  // variance of a + b * x
  found.standard_error = std::sqrt(spread) / std::abs(fit.slope);
  found.delta = {.lower = x - z * found.standard_error,
                 .upper = x + z * found.standard_error,
                 .confidence = confidence,
                 .sides = Sides::two,
                 .method = "delta"};
  const double g = z * z * b / (fit.slope * fit.slope);
  found.fieller_g = g;
  if (g >= 1.0) return found;
  const double middle = x + g / (1.0 - g) * (x + ab / b);
  const double half =
      z / (std::abs(fit.slope) * (1.0 - g)) * std::sqrt(spread - g * (a - ab * ab / b));
  found.fieller = Interval{.lower = middle - half,
                           .upper = middle + half,
                           .confidence = confidence,
                           .sides = Sides::two,
                           .method = "Fieller"};
  return found;
}

}  // namespace plexor::analysis
