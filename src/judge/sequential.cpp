#include "judge/sequential.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <stdexcept>
#include <utility>

#include "judge/sequential_lines.hpp"

namespace plexor::judge {

namespace {

void need_sequential(bool condition, const char* what) {
  if (!condition) throw std::domain_error(what);
}

void need_aim(const SequentialAim& aim) {
  const bool rates = aim.kind == RateKind::detection
                         ? 0.0 < aim.bad && aim.bad < aim.good && aim.good < 1.0
                         : 0.0 < aim.good && aim.good < aim.bad && std::isfinite(aim.bad);
  need_sequential(rates, "sequential test: good and bad rates out of order or range");
  need_sequential(aim.alpha > 0.0 && aim.beta > 0.0 && aim.alpha + aim.beta < 1.0,
                  "sequential test: alpha and beta must lie above 0 and add up to less than 1");
}

/// What one failure adds to the log likelihood ratio of bad to good, and what exposure takes off.
struct Evidence {
  double per_failure = 0.0;
  double per_exposure = 0.0;
};

Evidence evidence_of(const SequentialAim& aim) {
  const double good = failures_per_exposure(aim.kind, aim.good);
  const double bad = failures_per_exposure(aim.kind, aim.bad);
  if (aim.kind == RateKind::alarms)
    return {.per_failure = std::log(bad / good), .per_exposure = bad - good};
  const double per_hit = std::log1p(-good) - std::log1p(-bad);
  return {.per_failure = std::log(bad / good) + per_hit, .per_exposure = per_hit};
}

void need_design(const SequentialDesign& design) {
  need_sequential(design.longest > 0.0 && !design.pass_from.empty() &&
                      design.fail_until.size() > design.pass_from.size(),
                  "sequential test: a design without limits");
  need_sequential(
      std::ranges::is_sorted(design.pass_from) && std::ranges::is_sorted(design.fail_until) &&
          design.pass_from.front() > 0.0 && design.fail_until.front() < 0.0 &&
          design.pass_from.back() <= design.longest && design.fail_until.back() == design.longest,
      "sequential test: a design whose limits cross");
}

}  // namespace

double failures_per_exposure(RateKind kind, double rate) {
  const double highest = kind == RateKind::detection ? 1.0 : std::numeric_limits<double>::max();
  need_sequential(rate >= 0.0 && rate <= highest, "sequential test: no such rate");
  return kind == RateKind::detection ? 1.0 - rate : rate;
}

WaldLines wald_lines(const SequentialAim& aim) {
  need_aim(aim);
  const Evidence evidence = evidence_of(aim);
  const double log_a = std::log((1.0 - aim.beta) / aim.alpha);
  const double log_b = std::log(aim.beta / (1.0 - aim.alpha));
  return {.slope = evidence.per_exposure / evidence.per_failure,
          .accept = -log_b / evidence.per_failure,
          .reject = log_a / evidence.per_failure,
          .log_a = log_a,
          .log_b = log_b};
}

WaldAverages wald_averages(const SequentialAim& aim) {
  const WaldLines lines = wald_lines(aim);
  const auto drift = [&](double rate) {
    return failures_per_exposure(aim.kind, rate) - lines.slope;
  };
  const double variance =
      aim.kind == RateKind::detection ? lines.slope * (1.0 - lines.slope) : lines.slope;
  return {
      .at_good = (aim.alpha * lines.reject - (1.0 - aim.alpha) * lines.accept) / drift(aim.good),
      .at_bad = ((1.0 - aim.beta) * lines.reject - aim.beta * lines.accept) / drift(aim.bad),
      .at_slope = lines.accept * lines.reject / variance,
      .passes_at_slope = lines.reject / (lines.accept + lines.reject)};
}

double pass_line(const WaldLines& lines, RateKind kind, std::uint64_t failures) {
  const double exposure = (static_cast<double>(failures) + lines.accept) / lines.slope;
  return kind == RateKind::alarms ? exposure : std::max(1.0, std::ceil(exposure - line_slack));
}

double fail_line(const WaldLines& lines, RateKind kind, std::uint64_t failures) {
  if (failures == 0) return never_fails;
  const double exposure = (static_cast<double>(failures) - lines.reject) / lines.slope;
  const double until = kind == RateKind::alarms ? exposure : std::floor(exposure + line_slack);
  return std::max(never_fails, until);
}

SequentialDesign wald_design(const SequentialAim& aim, double longest) {
  const WaldLines lines = wald_lines(aim);
  need_sequential(longest >= pass_line(lines, aim.kind, 0) && longest <= 1e9 / lines.slope,
                  "sequential test: too short to pass, or too long");
  need_sequential(aim.kind == RateKind::alarms || longest == std::floor(longest),
                  "sequential test: trials must be whole");
  SequentialDesign design{.aim = aim, .longest = longest, .pass_from = {}, .fail_until = {}};
  for (std::uint64_t failures = 0; pass_line(lines, aim.kind, failures) <= longest; ++failures)
    design.pass_from.push_back(pass_line(lines, aim.kind, failures));
  do {
    const double until = fail_line(lines, aim.kind, design.fail_until.size());
    design.fail_until.push_back(std::min(until, longest));
  } while (design.fail_until.back() < longest);
  return design;
}

double earliest_pass(const SequentialDesign& design) { return design.pass_from.at(0); }

double earliest_pass(const SequentialAim& aim) { return pass_line(wald_lines(aim), aim.kind, 0); }

std::uint64_t earliest_fail(const SequentialDesign& design) {
  for (std::size_t failures = 1; failures < design.fail_until.size(); ++failures) {
    const double soonest =
        design.aim.kind == RateKind::detection ? static_cast<double>(failures) : 0.0;
    if (design.fail_until[failures] >= soonest) return failures;
  }
  return design.fail_until.size();
}

SequentialTest::SequentialTest(SequentialDesign design)
    : design_(std::make_shared<const SequentialDesign>(std::move(design))) {
  need_design(*design_);
}

void SequentialTest::need_kind(RateKind kind) const {
  need_sequential(design_->aim.kind == kind, "sequential test: fed with what it does not test");
}

void SequentialTest::advance_to(double exposure) {
  const double pass = state_.failures < design_->pass_from.size()
                          ? design_->pass_from[state_.failures]
                          : std::numeric_limits<double>::infinity();
  if (exposure >= pass)
    state_.standing = Standing::pass;
  else if (exposure >= design_->longest)
    state_.standing = Standing::undecided;
  state_.exposure = std::min({exposure, pass, design_->longest});
}

void SequentialTest::count_failure() {
  ++state_.failures;
  if (state_.exposure <= design_->fail_until[state_.failures]) state_.standing = Standing::fail;
}

Standing SequentialTest::add_trial(bool heard) {
  need_kind(RateKind::detection);
  if (state_.standing != Standing::running) return state_.standing;
  state_.exposure += 1.0;
  if (!heard) count_failure();
  if (state_.standing == Standing::running) advance_to(state_.exposure);
  return state_.standing;
}

Standing SequentialTest::quiet_until(double hours) {
  need_kind(RateKind::alarms);
  if (state_.standing != Standing::running) return state_.standing;
  need_sequential(hours >= state_.exposure, "sequential test: listening can't go back");
  advance_to(hours);
  return state_.standing;
}

Standing SequentialTest::alarm_at(double hours) {
  if (quiet_until(hours) == Standing::running) count_failure();
  return state_.standing;
}

}  // namespace plexor::judge
