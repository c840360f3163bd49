#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "analysis/intervals.hpp"
#include "analysis/response/binary_response.hpp"

// Detection against strength where some trials are answered or missed whatever the strength: the
// share is guess + (1 - guess - lapse) * F(a + b * strength). Abbott 1925, J Econ Entomol 18:265;
// Finney 1971, Probit Analysis, chapter 7; Wichmann & Hill 2001, Percept Psychophys 63:1293 (all
// from memory). The slope is at least 0: a harder tap is not detected less often. Checked against
// tests/reference (t06).

namespace plexor::analysis {

/// A rate that the curve has beside the strength: held at `value`, or free in [0, most_rate].
struct SideRate {
  double value = 0.0;
  bool is_free = false;
};
inline constexpr double most_rate = 0.5;

struct RatedModel {
  Link link = Link::probit;
  SideRate guess{};  ///< share that is detected at no strength at all
  SideRate lapse{};  ///< share that is missed at any strength
};

struct RatedCurve {
  double guess = 0.0;
  double lapse = 0.0;
  double intercept = 0.0;
  double slope = 0.0;
};

struct RatedFit : RatedCurve {
  RatedModel model{};
  double log_likelihood = 0.0;  ///< without the binomial coefficients
  /// The slope found no top: one strength divides all but guesses and lapses. The curve is as steep
  /// as is looked for, which is eight times the slope without rates: steeper curves fit the gap
  /// between two strengths, and their likelihood knows no chi-square.
  bool is_step = false;
  /// With free rates the likelihood may have several tops. The lower ones, where they are likely
  /// too: the intervals look around each.
  std::vector<RatedCurve> other_tops{};
};

/// The share detected in all, guesses and lapses included.
[[nodiscard]] double share_at(const RatedFit& fit, double strength);
/// The strength at which this share is detected in all. Nothing if the curve never has it (it is
/// not above the guess rate or not below 1 - lapse rate), or is flat.
[[nodiscard]] std::optional<double> strength_of(const RatedFit& fit, double share);

/// The curve of maximum likelihood, by damped Fisher scoring within bounds from several starts.
/// Nothing where the strengths do not differ, all trials or none responded, or (no rate being free)
/// one strength divides the data. Throws std::domain_error for more responses than trials, a
/// strength that is not finite, or held rates that are not within [0, most_rate].
[[nodiscard]] std::optional<RatedFit> fit_rated(std::span<const Dose> doses,
                                                const RatedModel& model);

/// Intervals by the likelihood, with all else that is free at its best: what loses at most half the
/// chi-square quantile against `fit`, the best of these doses (Venzon & Moolgavkar 1988, Appl Stat
/// 37:87). All are two-sided and throw std::domain_error for a confidence outside (0, 1).

/// Of the strength at which `share` is detected in all. The upper end is infinite where the data
/// allow that harder taps never reach the share (a flat curve below it, or too many lapses), the
/// lower where they allow that it is always exceeded; both where nothing is known, and where held
/// rates leave no such strength. Both are +infinity where the data show that no strength has the
/// share, because more trials lapse. Throws std::domain_error for a share outside (0, 1).
[[nodiscard]] Interval profile_strength(std::span<const Dose> doses, const RatedFit& fit,
                                        double share, double confidence);
/// Of the slope. The lower end is 0 where a flat curve is likely enough, the upper infinite where
/// a step is.
[[nodiscard]] Interval profile_slope(std::span<const Dose> doses, const RatedFit& fit,
                                     double confidence);

/// Takes into such an interval what the fit of another model to the same doses allows: curves that
/// lose at most `most_loss` of log likelihood against that fit. None for a loss not above 0.
void widen_strength(Interval& interval, std::span<const Dose> doses, const RatedFit& other,
                    double share, double most_loss);
void widen_slope(Interval& interval, std::span<const Dose> doses, const RatedFit& other,
                 double most_loss);

/// Upper bounds of a rate that is free in `fit`, one-sided; most_rate where the data do not bound
/// it. Throws std::domain_error for a rate that is held, or a confidence outside (0.5, 1).
[[nodiscard]] double upper_bound_of_guess(std::span<const Dose> doses, const RatedFit& fit,
                                          double confidence);
[[nodiscard]] double upper_bound_of_lapse(std::span<const Dose> doses, const RatedFit& fit,
                                          double confidence);

/// The share detected at a strength, and where it may lie there.
struct BandPoint {
  double strength = 0.0;
  double share = 0.0;
  double lower = 0.0;
  double upper = 1.0;
};
/// Pointwise, two-sided: by the delta method on the logit of the share, from Fisher's information
/// of all that is free and not at an end of its range. For a step nothing is known: 0 to 1.
[[nodiscard]] std::vector<BandPoint> band_of(std::span<const Dose> doses, const RatedFit& fit,
                                             std::span<const double> strengths, double confidence);

}  // namespace plexor::analysis
