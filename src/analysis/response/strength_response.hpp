#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "analysis/intervals.hpp"
#include "analysis/response/grouped_fit.hpp"
#include "analysis/response/rated_response.hpp"

// All that can be said about detection against strength, for a report.
//
// Strengths are the natural logarithm of the strike speed. Energy is speed squared times half the
// mass, and force a power of speed on any one surface, so the logarithm of either is a line in ln
// speed: the curve is the same one for all three, with its axis labelled anew and the spread
// multiplied (by 2 for energy).

namespace plexor::analysis {

/// What stands behind the figures.
enum class ResponseBasis : std::uint8_t {
  nothing,     ///< nothing can be said; `word` says why
  likelihood,  ///< the curve of maximum likelihood
  penalised,   ///< one strength divides the data: logistic with Firth's penalty
};

/// The strength at which a share is detected, in ln speed.
struct StrengthAtShare {
  double share = 0.5;
  /// Nothing where the curve never reaches it: too many taps are missed at any strength.
  std::optional<double> strength{};
  /// By profile likelihood, over the curves with and without rates: each free rate costs the
  /// likelihood what would take it into the curve, so that neither a rate that was left out nor one
  /// that was taken by chance makes the interval too short. It judges. An end is infinite where the
  /// data do not bound it (Fieller's is then infinite too or trusts a normal slope that is not
  /// there, so it never takes its place). Of a penalised curve: by the penalised likelihood.
  Interval profile{};
  /// The same of the curve as it was taken: shorter, and right if its rates are.
  Interval of_this_curve{};
  /// Fieller 1954 beside it. Nothing where the slope is not shown, or rates are in the curve.
  std::optional<Interval> fieller{};
  bool is_extrapolated = false;  ///< beyond all strengths that were tapped
  std::string word{};            ///< one sentence in speeds
};

/// A rate of answers or misses that no strength explains.
struct RateBesideStrength {
  bool is_in_curve = false;
  double rate = 0.0;   ///< 0 where it is not in the curve
  double upper = 0.5;  ///< one-sided bound by profile likelihood; 0.5 means none
  /// That it is 0: by the likelihood ratio, half of it a chi-square with 1 degree, half 0 (Self &
  /// Liang 1987, JASA 82:605), because 0 is the end of its range.
  double p = 1.0;
};

struct ShownDose {
  double strength = 0.0;  ///< mean ln speed
  std::uint64_t responded = 0;
  std::uint64_t trials = 0;
  Interval wilson{};
};

struct StrengthResponse {
  ResponseBasis basis = ResponseBasis::nothing;
  std::string word;                  ///< one sentence: the answer, or why there is none
  std::vector<std::string> remarks;  ///< what a reader should know beside it, a sentence each

  std::uint64_t trials = 0;
  std::uint64_t responded = 0;
  double weakest = 0.0;  ///< that was tapped, ln speed
  double strongest = 0.0;

  // Not where basis is nothing:
  Link link = Link::probit;
  std::string why_this_curve;
  double intercept = 0.0;
  double slope = 0.0;
  RateBesideStrength guess{};
  RateBesideStrength lapse{};
  std::optional<StrengthAtShare> s50{};
  std::optional<StrengthAtShare> s95{};
  /// Standard deviation of the threshold in ln units (about its coefficient of variation), and its
  /// interval from the slope's profile.
  double spread = 0.0;
  Interval spread_interval{};

  /// Nothing where too few groups can be made, or the curve is penalised.
  std::optional<GroupedFit> goodness{};
  /// Chi-square per degree where goodness is bad (p < 5 %), else 1: variances are larger than the
  /// intervals know by about so much (Finney 1971, section 4.6; from memory).
  double heterogeneity = 1.0;

  std::vector<ShownDose> shown;    ///< at most 12
  std::vector<BandPoint> curve{};  ///< about 60 points, with a pointwise band (see band_of)
};

/// `doses`: strength in ln speed; equal strengths may stand apart or together, in any order. All
/// two-sided intervals and one-sided bounds at `confidence`. Guess and lapse rate are taken into
/// the curve only where the data ask for them at 5 %. `unit` is that of exp(strength), for the
/// sentences ("m/s"; empty for drive). Throws std::domain_error for more responses than trials, a
/// strength that is not finite, or a confidence outside (0.5, 1).
///
/// `placed_by_answers`: strikes went where the answers before sent them. Then they crowd around the
/// middle and make the slope look steeper than it is (Kaernbach 2001, Perception & Psychophysics
/// 63:1389; from memory), and the likelihood too sure of S50: its interval then takes in the
/// central belief about it too (scenario's placement), which weighs all spreads that a device may
/// have; at half the error, because such a run also stops where it looks sure. Its coverage is
/// tested.
[[nodiscard]] StrengthResponse strength_response(std::span<const Dose> doses, double confidence,
                                                 std::string_view unit = "m/s",
                                                 bool placed_by_answers = false);

}  // namespace plexor::analysis
