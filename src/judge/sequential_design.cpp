#include "judge/sequential_design.hpp"

#include <algorithm>
#include <array>
#include <boost/math/special_functions/beta.hpp>
#include <boost/math/special_functions/gamma.hpp>
#include <cmath>
#include <limits>
#include <stdexcept>
#include <vector>

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

/// Whether a least number exists, and which: `holds` must stay true from there on.
template <typename Predicate>
std::uint64_t first_failures(std::uint64_t low, std::uint64_t high, Predicate holds) {
  while (low < high) {
    const std::uint64_t middle = low + (high - low) / 2;
    if (holds(middle))
      high = middle;
    else
      low = middle + 1;
  }
  return low;
}

/// The failures allowed at the end: nearest to the slope's, of those that keep both errors there.
std::optional<std::uint64_t> allowed_at(const SequentialAim& aim, double longest, double slope) {
  constexpr std::uint64_t beyond = 100 * most_allowed;
  const auto plan = [&](std::uint64_t allowed) {
    return FixedPlan{.exposure = longest, .allowed = allowed};
  };
  const std::uint64_t fewest = first_failures(
      0, beyond, [&](std::uint64_t allowed) { return fixed_keeps_alpha(aim, plan(allowed)); });
  const std::uint64_t too_many = first_failures(
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

  /// Each turn starts where the turn before ended; the last but one changes nothing.
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

  /// Raises a distance as little as needed; false if even `high` does not help.
  template <typename Predicate>
  static bool raise(double& distance, double high, Predicate enough) {
    constexpr double fine = 1e-5;  // failures
    if (enough()) return true;
    double low = distance;
    distance = high;
    if (!enough()) return false;
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
  const WaldLines lines = wald_lines(aim);
  const bool whole = aim.kind == RateKind::alarms || longest == std::floor(longest);
  if (!(longest > 0.0 && std::isfinite(longest) && whole))
    throw std::domain_error("sequential test: no such length");
  const std::optional<std::uint64_t> allowed = allowed_at(aim, longest, lines.slope);
  if (!allowed) return std::nullopt;
  return LineSearch(aim, {.exposure = longest, .allowed = *allowed}).least();
}

std::optional<SequentialDesign> decided_design(const SequentialAim& aim) {
  const std::optional<FixedPlan> fixed = fixed_plan(aim);
  if (!fixed) return std::nullopt;
  std::vector<SequentialDesign> designs;
  std::vector<double> averages;
  for (const double times : {1.0, 1.1, 1.25, 1.5, 1.75, 2.0, 2.5, 3.0}) {
    const double longest = fixed->exposure * times;
    const bool whole = aim.kind == RateKind::detection;
    std::optional<SequentialDesign> design =
        decided_design(aim, whole ? std::ceil(longest) : longest);
    if (!design) continue;
    averages.push_back(average_exposure(*design));
    designs.push_back(std::move(*design));
  }
  const double best = *std::ranges::min_element(averages);
  const auto chosen =
      std::ranges::find_if(averages, [&](double average) { return average <= 1.01 * best; });
  return std::move(designs[static_cast<std::size_t>(chosen - averages.begin())]);
}

}  // namespace plexor::judge
