#pragma once

#include <cstdint>
#include <optional>
#include <span>

#include "analysis/intervals.hpp"

// Detection against strength: a curve through shares of trials, by how hard they were. Checked
// against tests/reference (t06).

namespace plexor::analysis {

/// Trials at one strength (strike speed, energy, force, or the logarithm of one).
struct Dose {
  double strength = 0.0;
  std::uint64_t responded = 0;  ///< of `trials`
  std::uint64_t trials = 0;
};

/// How the share rises with a + b * strength.
enum class Link : std::uint8_t {
  logit,    ///< logistic: 1 / (1 + exp(-eta))
  probit,   ///< normal distribution of the threshold: Phi(eta)
  cloglog,  ///< 1 - exp(-exp(eta))
};

/// Share at eta, and the eta of a share inside (0, 1).
[[nodiscard]] double share_at(Link link, double eta);
[[nodiscard]] double eta_of(Link link, double share);

/// Whether responses and failures overlap along the strengths (Albert & Anderson 1984, Biometrika
/// 71:1, for one covariate). Only where they do is there a finite curve of maximum likelihood.
enum class Separation : std::uint8_t {
  overlap,
  quasi_complete,  ///< they touch at one strength
  complete,        ///< one strength divides them
  one_class,       ///< only responses, or only failures
};
[[nodiscard]] Separation separation_of(std::span<const Dose> doses);

/// a + b * strength with what is known of both.
struct ResponseFit {
  Link link = Link::logit;
  double intercept = 0.0;
  double slope = 0.0;
  double intercept_variance = 0.0;
  double slope_variance = 0.0;
  double covariance = 0.0;

  // How well it fits (not of a penalised fit).
  double deviance = 0.0;        ///< twice the log likelihood ratio to a share for each strength
  double pearson = 0.0;         ///< Pearson's chi-square
  double degrees = 0.0;         ///< strengths with trials, less 2
  double log_likelihood = 0.0;  ///< without the binomial coefficients
};

/// The curve of maximum likelihood, by Fisher scoring (McCullagh & Nelder 1989, section 2.5; from
/// memory). Nothing where none is finite (see separation_of), or the strengths do not differ.
/// Throws std::domain_error for more responses than trials or a strength that is not finite.
[[nodiscard]] std::optional<ResponseFit> fit_response(std::span<const Dose> doses, Link link);

/// The logistic curve with Firth's penalty, finite for all data with two different strengths:
/// Firth 1993, Biometrika 80:27; Heinze & Schemper 2002, Stat Med 21:2409. Variances from the
/// inverse Fisher information. Nothing if strengths do not differ or there are no trials.
[[nodiscard]] std::optional<ResponseFit> fit_penalised(std::span<const Dose> doses);

/// The strength at which a share responds.
struct Threshold {
  double share = 0.5;
  double strength = 0.0;
  double standard_error = 0.0;  ///< by the delta method
  Interval delta{};             ///< strength -+ z * standard_error
  double fieller_g = 0.0;       ///< z^2 times the relative variance of the slope
  /// Fieller 1954, JRSS B 16:175. Nothing where g >= 1: the slope is not shown to differ from 0,
  /// and any strength is possible.
  std::optional<Interval> fieller{};
};
/// Two-sided at `confidence`. Nothing where the curve is as flat as rounding can tell. Throws
/// std::domain_error for a share or a confidence outside (0, 1).
[[nodiscard]] std::optional<Threshold> threshold_of(const ResponseFit& fit, double share,
                                                    double confidence);

}  // namespace plexor::analysis
