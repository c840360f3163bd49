#include "analysis/response/strength_curves.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <cmath>
#include <utility>

#include "analysis/figures.hpp"
#include "analysis/response/binary_response.hpp"

namespace plexor::analysis {

namespace {

Dose dose_of(double ln_m_s, bool hit) { return {ln_m_s, hit ? 1U : 0U, 1}; }

double slope_of_share(Link link, double eta) {
  constexpr double step = 1e-5;
  return (share_at(link, eta + step) - share_at(link, eta - step)) / (2.0 * step);
}

/// How far the last trials lie off the curve, on its scale, and how well that is known.
struct Offset {
  double eta = 0.0;
  double variance = 0.0;
};

Offset offset_of(const ResponseFit& fit, double ln_m_s, const Recheck& recheck) {
  const auto n = static_cast<double>(recheck.trials);
  // Half a trial is added to either side, so that all or none still have a place on the scale.
  const double share = (static_cast<double>(recheck.heard) + 0.5) / (n + 1.0);
  const double eta = eta_of(fit.link, share);
  const double slope = slope_of_share(fit.link, eta);
  const double expected = fit.intercept + fit.slope * ln_m_s;
  const double curve_variance =
      fit.intercept_variance + 2.0 * ln_m_s * fit.covariance + ln_m_s * ln_m_s * fit.slope_variance;
  return {eta - expected, share * (1.0 - share) / (n * slope * slope) + curve_variance};
}

void say(Recheck& recheck, double ln_m_s, const std::string& unit) {
  const auto percent = [](double change) { return fmt::format("{:+.0f} %", change * 100.0); };
  recheck.word = fmt::format(
      "re-check at {:.2f}{}{}: heard {} of {}; {}: the strength of which half is heard moved by {} "
      "({} to {} with 95 % confidence)",
      std::exp(ln_m_s), unit.empty() ? "" : " ", unit, recheck.heard, recheck.trials,
      recheck.is_shown ? "the surface or a mounting changed during the run" : "no change is shown",
      percent(recheck.change), percent(recheck.interval.lower), percent(recheck.interval.upper));
}

}  // namespace

StrengthCurves::StrengthCurves(const scenario::Scenario& scenario, std::string unit)
    : scenario_(scenario), unit_(std::move(unit)) {}

void StrengthCurves::count(const base::Trial& trial, base::StrikeSpeed mean, bool hit) {
  const std::uint32_t spot = scenario_.blocks[trial.id.block].spot;
  trials_[{spot, trial.rhythm}].push_back(
      {trial.id.block, trial.id.number, std::log(base::to_m_s(mean)), hit});
}

std::vector<StrengthCurve> StrengthCurves::finish() const {
  std::vector<StrengthCurve> curves;
  for (const auto& [where, trials] : trials_) {
    std::vector<Dose> doses;
    doses.reserve(trials.size());
    bool placed_by_answers = false;
    for (const One& one : trials) {
      doses.push_back(dose_of(one.ln_m_s, one.hit));
      placed_by_answers |= scenario_.blocks[one.block].is_adaptive();
    }
    StrengthCurve& curve = curves.emplace_back(StrengthCurve{
        .rhythm = scenario_.rhythms[where.second].name,
        .spot = where.first,
        .response = strength_response(doses, display_confidence, unit_, placed_by_answers)});
    curve.recheck = recheck_of(trials, curve.response);
  }
  return curves;
}

/// Nothing where no block has one, or the rest has no curve to hold it against.
std::optional<Recheck> StrengthCurves::recheck_of(std::span<const One> trials,
                                                  const StrengthResponse& response) const {
  if (response.basis != ResponseBasis::likelihood) return std::nullopt;
  std::map<std::uint32_t, std::uint32_t> ends;  // of each block, one beyond its last trial
  for (const One& one : trials) ends[one.block] = std::max(ends[one.block], one.number + 1);
  std::vector<Dose> before;
  Recheck recheck;
  double sum_ln_m_s = 0.0;
  for (const One& one : trials) {
    const auto& placing = scenario_.blocks[one.block].strength.placing;
    const std::uint32_t last = placing ? placing->recheck : 0;
    if (one.number + last < ends[one.block]) {
      before.push_back(dose_of(one.ln_m_s, one.hit));
      continue;
    }
    ++recheck.trials;
    if (one.hit) ++recheck.heard;
    sum_ln_m_s += one.ln_m_s;
  }
  if (recheck.trials == 0) return std::nullopt;
  const auto fit = fit_response(before, response.link);
  if (!fit || fit->slope <= 0.0) return std::nullopt;
  const double ln_m_s = sum_ln_m_s / static_cast<double>(recheck.trials);
  const Offset offset = offset_of(*fit, ln_m_s, recheck);
  const double z = boost::math::quantile(boost::math::normal(), 0.5 + display_confidence / 2.0);
  const double middle = -offset.eta / fit->slope;
  const double half = z * std::sqrt(offset.variance) / fit->slope;
  recheck.change = std::expm1(middle);
  recheck.interval = {std::expm1(middle - half), std::expm1(middle + half), display_confidence,
                      Sides::two, "delta method"};
  recheck.is_shown = recheck.interval.lower > 0.0 || recheck.interval.upper < 0.0;
  say(recheck, ln_m_s, unit_);
  return recheck;
}

}  // namespace plexor::analysis
