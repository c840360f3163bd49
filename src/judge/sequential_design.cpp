#include "judge/sequential_design.hpp"

#include <algorithm>
#include <boost/math/special_functions/beta.hpp>
#include <boost/math/special_functions/gamma.hpp>
#include <cmath>
#include <limits>
#include <stdexcept>
#include <utility>
#include <vector>

#include "base/search.hpp"
#include "judge/sequential_lines.hpp"
#include "judge/sequential_walk.hpp"

namespace plexor::judge {

namespace {

/// A chance this close (relatively) to its limit is at the limit: limits are decimal.
bool keeps(double chance, double limit) { return chance <= limit * (1.0 + 1e-12); }

/// The chance of more failures than `allowed` in a test without a stop, and of no more.
double chance_above(RateKind kind, double exposure, double failure_rate, std::uint64_t allowed) {
  const double most = static_cast<double>(allowed);
  if (kind == RateKind::alarms) return boost::math::gamma_p(most + 1.0, exposure * failure_rate);
  return most >= exposure ? 0.0 : boost::math::ibeta(most + 1.0, exposure - most, failure_rate);
}

double chance_within(RateKind kind, double exposure, double failure_rate, std::uint64_t allowed) {
  const double most = static_cast<double>(allowed);
  if (kind == RateKind::alarms) return boost::math::gamma_q(most + 1.0, exposure * failure_rate);
  return most >= exposure ? 1.0 : boost::math::ibetac(most + 1.0, exposure - most, failure_rate);
}

bool fixed_keeps_alpha(const SequentialAim& aim, const FixedPlan& plan) {
  const double good = failures_per_exposure(aim.kind, aim.good);
  return keeps(chance_above(aim.kind, plan.exposure, good, plan.allowed), aim.alpha);
}

bool fixed_keeps_beta(const SequentialAim& aim, const FixedPlan& plan) {
  const double bad = failures_per_exposure(aim.kind, aim.bad);
  return keeps(chance_within(aim.kind, plan.exposure, bad, plan.allowed), aim.beta);
}

/// The fewest trials, above `low`, in which so many failures are few enough for beta.
double least_trials(const SequentialAim& aim, double low, std::uint64_t allowed) {
  const auto enough = [&](double trials) {
    return fixed_keeps_beta(aim, {.exposure = trials, .allowed = allowed});
  };
  double high = std::max(2.0 * low, 1.0);
  for (; !enough(high); high *= 2.0) low = high;
  while (high - low > 1.0) {
    const double middle = std::floor((low + high) / 2.0);
    (enough(middle) ? high : low) = middle;
  }
  return high;
}

double least_exposure(const SequentialAim& aim, double low, std::uint64_t allowed) {
  if (aim.kind == RateKind::detection) return least_trials(aim, low, allowed);
  return boost::math::gamma_q_inv(static_cast<double>(allowed) + 1.0, aim.beta) / aim.bad;
}

/// The failures allowed at the end: the slope's, or the nearest that keep both errors there.
std::optional<std::uint64_t> allowed_at(const SequentialAim& aim, double longest, double slope) {
  constexpr std::uint64_t beyond = 10 * most_allowed;
  const auto plan = [&](std::uint64_t allowed) {
    return FixedPlan{.exposure = longest, .allowed = allowed};
  };
  const std::uint64_t fewest = base::first_where(
      0, beyond, [&](std::uint64_t allowed) { return fixed_keeps_alpha(aim, plan(allowed)); });
  const std::uint64_t too_many = base::first_where(
      0, beyond, [&](std::uint64_t allowed) { return !fixed_keeps_beta(aim, plan(allowed)); });
  if (fewest >= too_many || too_many == beyond) return std::nullopt;
  return std::clamp(static_cast<std::uint64_t>(slope * longest), fewest, too_many - 1);
}

/// Lines cut off at the plan's exposure, with its failures allowed there.
SequentialDesign cut_off(const SequentialAim& aim, const WaldLines& lines, const FixedPlan& end) {
  SequentialDesign design{.aim = aim, .longest = end.exposure, .pass_from = {}, .fail_until = {}};
  for (std::uint64_t failures = 0; failures <= end.allowed; ++failures) {
    const double left = static_cast<double>(end.allowed - failures);
    const double certain = aim.kind == RateKind::detection ? end.exposure - left : end.exposure;
    design.pass_from.push_back(std::min(pass_line(lines, aim.kind, failures), certain));
    design.fail_until.push_back(std::min(fail_line(lines, aim.kind, failures), end.exposure));
  }
  design.fail_until.push_back(end.exposure);
  return design;
}

/// Finds the least distances of the lines.
class LineSearch {
 public:
  LineSearch(const SequentialAim& aim, const FixedPlan& end)
      : aim_(aim), end_(end), lines_(wald_lines(aim)) {
    lines_.accept = 0.0;
    lines_.reject = 0.0;
  }

  /// Turns end when raising one distance has left the error of the other kept.
  std::optional<SequentialDesign> least() {
    constexpr int most_turns = 100;
    for (int turn = 0; turn < most_turns; ++turn) {
      const auto keeps_alpha = [&] { return keeps(chance_good_fails(), aim_.alpha); };
      const auto keeps_beta = [&] { return keeps(chance_bad_passes(), aim_.beta); };
      if (!raise(lines_.reject, static_cast<double>(end_.allowed) + 2.0, keeps_alpha) ||
          !raise(lines_.accept, lines_.slope * end_.exposure + 1.0, keeps_beta))
        return std::nullopt;
      if (keeps_alpha()) return cut_off(aim_, lines_, end_);
    }
    return std::nullopt;
  }

 private:
  [[nodiscard]] double chance_good_fails() const {
    return sequential_chances(cut_off(aim_, lines_, end_), aim_.good).fail;
  }
  [[nodiscard]] double chance_bad_passes() const {
    return sequential_chances(cut_off(aim_, lines_, end_), aim_.bad).pass;
  }

  /// Raises a distance as little as needed; false if even `most` does not help. Wide lines take
  /// long to work out, so it feels its way up.
  template <typename Predicate>
  static bool raise(double& distance, double most, Predicate enough) {
    constexpr double fine = 1e-4;  // failures
    double low = distance;
    for (double step = 4.0 * fine; !enough(); step *= 4.0) {
      if (distance >= most) return false;
      low = distance;
      distance = std::min(distance + step, most);
    }
    double high = distance;
    while (high - low > fine) {
      distance = (low + high) / 2.0;
      (enough() ? high : low) = distance;
    }
    distance = high;
    return true;
  }

  SequentialAim aim_;
  FixedPlan end_;
  WaldLines lines_;
};

std::optional<SequentialDesign> design_of_length(const SequentialAim& aim, double longest) {
  const auto allowed = allowed_at(aim, longest, wald_lines(aim).slope);
  if (!allowed) return std::nullopt;
  return LineSearch(aim, {.exposure = longest, .allowed = *allowed}).least();
}

double times(const SequentialAim& aim, double factor, const FixedPlan& plan) {
  const double exposure = factor * plan.exposure;
  return aim.kind == RateKind::detection ? std::ceil(exposure) : exposure;
}

double average_exposure(const SequentialDesign& design) {
  return (sequential_chances(design, design.aim.good).average +
          sequential_chances(design, design.aim.bad).average) /
         2.0;
}

}  // namespace

std::optional<FixedPlan> fixed_plan(const SequentialAim& aim) {
  static_cast<void>(wald_lines(aim));  // checks the aim
  FixedPlan plan;
  for (; plan.allowed <= most_allowed; ++plan.allowed) {
    plan.exposure = least_exposure(aim, plan.exposure, plan.allowed);
    if (fixed_keeps_alpha(aim, plan)) return plan;
  }
  return std::nullopt;
}

std::optional<SequentialDesign> decided_design(const SequentialAim& aim, double longest) {
  const bool whole = aim.kind == RateKind::alarms || longest == std::floor(longest);
  if (!(longest > 0.0 && std::isfinite(longest) && whole))
    throw std::domain_error("sequential test: no such length");
  const std::optional<FixedPlan> fixed = fixed_plan(aim);
  if (!fixed) return std::nullopt;
  return design_of_length(aim, std::min(longest, times(aim, most_times_fixed, *fixed)));
}

std::optional<SequentialDesign> decided_design(const SequentialAim& aim) {
  const std::optional<FixedPlan> fixed = fixed_plan(aim);
  if (!fixed) return std::nullopt;
  std::vector<SequentialDesign> designs;
  double best = std::numeric_limits<double>::infinity();
  for (const double factor : {1.0, 1.25, 1.5, 2.0, most_times_fixed}) {
    std::optional<SequentialDesign> design = design_of_length(aim, times(aim, factor, *fixed));
    if (!design) continue;
    best = std::min(best, average_exposure(*design));
    designs.push_back(std::move(*design));
  }
  const auto chosen = std::ranges::find_if(designs, [&](const SequentialDesign& design) {
    return average_exposure(design) <= 1.01 * best;
  });
  if (chosen == designs.end()) return std::nullopt;
  return std::move(*chosen);
}

}  // namespace plexor::judge
