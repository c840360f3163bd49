#include "analysis/response/binary_response.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <limits>
#include <stdexcept>
#include <utility>
#include <vector>

namespace plexor::analysis {
namespace {

using Doses = std::span<const Dose>;

void need_response(bool condition, const char* what) {
  if (!condition) throw std::domain_error(what);
}

void need_doses(Doses doses) {
  for (const Dose& dose : doses) {
    need_response(dose.responded <= dose.trials, "response: more responses than trials");
    need_response(std::isfinite(dose.strength), "response: a strength must be finite");
  }
}

double real(std::uint64_t count) { return static_cast<double>(count); }

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
  return real(dose.trials) * slope * slope / (share * (1.0 - share));
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
    sum += real(dose.responded) * std::log(share) +
           real(dose.trials - dose.responded) * std::log1p(-share);
  }
  return sum;
}

/// The score of one dose: what it gives to the derivative of the log likelihood by its eta.
double push_of(const Dose& dose, Link link, double eta) {
  const double share = inner_share(link, eta);
  return (real(dose.responded) - real(dose.trials) * share) * slope_at(link, eta) /
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

/// Strengths centred and scaled for the sums; the curve is given for them as they are.
class Scaled {
 public:
  explicit Scaled(Doses doses) {
    double trials = 0.0;
    for (const Dose& dose : doses) {
      if (dose.trials == 0) continue;
      trials += real(dose.trials);
      centre_ += real(dose.trials) * dose.strength;
    }
    if (trials > 0.0) centre_ /= trials;
    for (const Dose& dose : doses) {
      if (dose.trials == 0) continue;
      width_ = std::max(width_, std::abs(dose.strength - centre_));
    }
    for (const Dose& dose : doses) {
      if (dose.trials == 0) continue;
      doses_.push_back({(dose.strength - centre_) / unit(), dose.responded, dose.trials});
    }
  }

  [[nodiscard]] bool strengths_differ() const { return width_ > 0.0; }
  [[nodiscard]] Doses doses() const { return doses_; }
  [[nodiscard]] double unscaled(double strength) const { return centre_ + unit() * strength; }

  [[nodiscard]] ResponseFit unscaled(Link link, const Line& line, const Matrix& covariance) const {
    const double slope_variance = covariance.bb / (unit() * unit());
    const double covariance_at_centre = covariance.ab / unit();
    ResponseFit fit{.link = link,
                    .intercept = line.intercept - line.slope * centre_ / unit(),
                    .slope = line.slope / unit()};
    fit.slope_variance = slope_variance;
    fit.covariance = covariance_at_centre - centre_ * slope_variance;
    fit.intercept_variance =
        covariance.aa - 2.0 * centre_ * covariance_at_centre + centre_ * centre_ * slope_variance;
    return fit;
  }

 private:
  [[nodiscard]] double unit() const { return width_ > 0.0 ? width_ : 1.0; }

  double centre_ = 0.0;
  double width_ = 0.0;
  std::vector<Dose> doses_;
};

/// x * log(x / expected), 0 for none.
double surprise(double x, double expected) { return x > 0.0 ? x * std::log(x / expected) : 0.0; }

void add_goodness(ResponseFit& fit, Doses doses, const Line& line) {
  for (const Dose& dose : doses) {
    const double n = real(dose.trials);
    const double x = real(dose.responded);
    const double share = inner_share(fit.link, line.at(dose.strength));
    fit.deviance += 2.0 * (surprise(x, n * share) + surprise(n - x, n * (1.0 - share)));
    fit.pearson += (x - n * share) * (x - n * share) / (n * share * (1.0 - share));
  }
  fit.degrees = real(doses.size()) - 2.0;
  fit.log_likelihood = log_likelihood_of(doses, fit.link, line);
}

/// The best log likelihood of curves that have this eta at this strength.
double profile_at(Doses doses, Link link, double eta, double strength) {
  double slope = 0.0;
  for (int step = 0; step < most_steps; ++step) {
    double score = 0.0;
    double information = 0.0;
    double furthest = 0.0;
    for (const Dose& dose : doses) {
      const double x = dose.strength - strength;
      const double at = eta + slope * x;
      score += push_of(dose, link, at) * x;
      information += weight(dose, link, at) * x * x;
      furthest = std::max(furthest, std::abs(x));
    }
    if (!(information > 0.0)) break;
    const double most = 2.0 / furthest;
    const double move = std::clamp(score / information, -most, most);
    slope += move;
    if (std::abs(move) <= 1e-12 * (std::abs(slope) + most)) break;
  }
  return log_likelihood_of(doses, link, {.intercept = eta - slope * strength, .slope = slope});
}

/// From a strength that is likely enough outwards to where it no longer is; infinite if nowhere.
template <typename IsLikely>
double end_of(double from, double step, IsLikely is_likely) {
  constexpr int most_doublings = 40;
  double inside = from;
  double outside = from + step;
  for (int i = 0; is_likely(outside); ++i, step *= 2.0) {
    if (i == most_doublings) return std::copysign(std::numeric_limits<double>::infinity(), step);
    inside = outside;
    outside += step;
  }
  for (int i = 0; i < 100 && inside != outside; ++i) {
    const double middle = inside + (outside - inside) / 2.0;
    if (middle == inside || middle == outside) break;
    (is_likely(middle) ? inside : outside) = middle;
  }
  return inside;
}

double z_of(double confidence) {
  need_response(confidence > 0.0 && confidence < 1.0,
                "response: confidence must lie between 0 and 1");
  return quantile(boost::math::normal(), 0.5 + confidence / 2.0);
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
  need_response(share > 0.0 && share < 1.0, "response: a share must lie between 0 and 1");
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
  ResponseFit fit = scaled.unscaled(link, *line, *covariance);
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
        return real(dose.responded) - real(dose.trials) * share + leverage * (0.5 - share);
      });
  if (!line) return std::nullopt;
  const auto covariance = information_of(scaled.doses(), Link::logit, *line).inverse();
  if (!covariance) return std::nullopt;
  return scaled.unscaled(Link::logit, *line, *covariance);
}

std::optional<Threshold> threshold_of(const ResponseFit& fit, double share, double confidence) {
  const double z = z_of(confidence);
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

std::optional<Interval> profile_interval(Doses doses, Link link, double share, double confidence) {
  const double z = z_of(confidence);
  const double eta = eta_of(link, share);
  const Scaled scaled(doses);
  const auto fit = fit_response(scaled.doses(), link);
  if (!fit) return std::nullopt;
  // Flat curves have no threshold; the search then begins in the middle of the strengths.
  const auto best = threshold_of(*fit, share, confidence);
  const double from = best ? best->strength : 0.0;
  const double least = fit->log_likelihood - z * z / 2.0;
  const auto is_likely = [&](double strength) {
    return profile_at(scaled.doses(), link, eta, strength) >= least;
  };
  const double step = best ? best->standard_error : 1.0;
  return Interval{.lower = scaled.unscaled(end_of(from, -step, is_likely)),
                  .upper = scaled.unscaled(end_of(from, step, is_likely)),
                  .confidence = confidence,
                  .sides = Sides::two,
                  .method = "profile likelihood"};
}

}  // namespace plexor::analysis
