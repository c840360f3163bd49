#include "judge/sequential_limits.hpp"

#include <algorithm>
#include <utility>

#include "judge/sequential_design.hpp"
#include "scenario/planner.hpp"

namespace plexor::judge {

namespace {

using base::Outcome;
using scenario::Limit;

double in_hours(base::Duration duration) { return base::to_s(duration) / 3600.0; }

/// What trials of a block are counted as, confusions and latencies aside.
Counted counted_of(const scenario::Scenario& scenario, const scenario::Block& block) {
  if (block.quiet) return Counted::alarms;
  return scenario.rhythms[block.rhythm].is_distractor() ? Counted::responses : Counted::hits;
}

/// The trials that a limit is on, by what they are counted as.
Counted trials_of(Counted counted) {
  const bool expect = counted == Counted::answers_in_time || counted == Counted::confusions;
  return expect ? Counted::hits : counted;
}

SequentialAim aim_of(const scenario::Sequential& test, Counted counted) {
  const bool rare = counted == Counted::confusions || counted == Counted::responses;
  return {.kind = counted == Counted::alarms ? RateKind::alarms : RateKind::detection,
          .good = rare ? 1.0 - test.good : test.good,
          .bad = rare ? 1.0 - test.bad : test.bad,
          .alpha = test.alpha,
          .beta = test.beta};
}

/// The aim whose Wald lines lie at the likelihood ratios 1 / alpha and beta. These keep both errors
/// wherever the test is cut off (Ville's inequality); Wald's own only nearly do.
SequentialAim surely_kept(const SequentialAim& aim) {
  SequentialAim kept = aim;
  kept.alpha = aim.alpha * (1.0 - aim.beta) / (1.0 - aim.alpha * aim.beta);
  kept.beta = aim.beta * (1.0 - kept.alpha);
  return kept;
}

/// The test that suits the aim, if the plan has room for it; else the best that it has room for.
void find_design(SequentialLimit& limit) {
  const auto best = decided_design(limit.aim);
  if (!best) return;
  limit.always_decides = best->longest;
  limit.least = earliest_pass(surely_kept(limit.aim));
  if (best->longest <= limit.planned) {
    limit.design = best;
    return;
  }
  if (limit.planned > 0.0) limit.design = decided_design(limit.aim, limit.planned);
  if (!limit.design && limit.planned >= *limit.least) {
    limit.design = wald_design(surely_kept(limit.aim), limit.planned);
  }
}

/// Alarms in these stretches, in time since their begin as if they joined each other. Where one
/// ends within the window a disturbance begins, and has the very moment.
std::vector<base::Duration> alarms_in(const std::vector<base::Stretch>& undisturbed,
                                      const Answer& answer, const Presented& quiet) {
  std::vector<base::Duration> alarms;
  base::Duration listened{};
  for (const base::Stretch& stretch : undisturbed) {
    const bool has_begin = stretch.from == base::Duration::zero();
    const bool has_end = stretch.to == quiet.window;
    for (const base::Instant incident : answer.incidents) {
      const base::Duration at = incident - quiet.first_contact;
      if (has_begin ? at < stretch.from : at <= stretch.from) continue;
      if (has_end ? at > stretch.to : at >= stretch.to) continue;
      alarms.push_back(listened + at - stretch.from);
    }
    listened += stretch.length();
  }
  return alarms;
}

bool has_failed(const Answer& answer, const SequentialLimit& limit) {
  switch (limit.counted) {
    case Counted::hits: return answer.outcome != Outcome::hit;
    case Counted::answers_in_time:
      return answer.outcome != Outcome::hit ||
             base::to_ms(answer.latency.value()) > limit.within_ms;
    case Counted::confusions: return answer.outcome == Outcome::confusion;
    case Counted::responses: return answer.outcome == Outcome::false_response;
    case Counted::alarms: return false;
  }
  return false;
}

}  // namespace

std::vector<SequentialLimit> sequential_limits(const scenario::Scenario& scenario) {
  const scenario::PlannedCounts planned = scenario::planned_counts(scenario);
  std::vector<SequentialLimit> limits;
  const auto add = [&](Counted counted, const std::optional<Limit>& limit, double amount,
                       double within_ms = 0.0) {
    if (!limit || !limit->sequential) return;
    const SequentialAim aim = aim_of(*limit->sequential, counted);
    limits.push_back({.counted = counted, .within_ms = within_ms, .aim = aim, .planned = amount});
    find_design(limits.back());
  };
  const scenario::Accept& accept = scenario.accept;
  const auto expecting = static_cast<double>(planned.expecting);
  add(Counted::hits, accept.detection_rate, expecting);
  for (const scenario::LatencyLimit& latency : accept.latencies) {
    add(Counted::answers_in_time, latency.limit, expecting, latency.limit.value);
  }
  add(Counted::alarms, accept.false_alarms_per_hour, in_hours(planned.quiet));
  add(Counted::responses, accept.false_response_rate, static_cast<double>(planned.distractors));
  add(Counted::confusions, accept.confusion_rate, expecting);
  return limits;
}

SequentialLimits::SequentialLimits(const scenario::Scenario& scenario, std::uint32_t devices)
    : limits_(sequential_limits(scenario)) {
  for (const scenario::Block& block : scenario.blocks) {
    counted_by_block_.push_back(counted_of(scenario, block));
  }
  for (std::size_t limit = 0; limit < limits_.size(); ++limit) {
    if (!limits_[limit].design) continue;
    const SequentialTest test(*limits_[limit].design);
    for (std::uint32_t device = 0; device < devices; ++device) {
      tests_.push_back({.limit = limit, .device = device, .test = test});
    }
  }
}

void SequentialLimits::LimitTest::apply(const Step& step) {
  if (test.design().aim.kind == RateKind::detection) {
    test.add_trial(!step.failed);
    return;
  }
  for (const base::Duration alarm : step.alarms) test.alarm_at(in_hours(listened + alarm));
  listened += step.listened;
  test.quiet_until(in_hours(listened));
}

/// Nothing where the limit is on other trials.
std::optional<SequentialLimits::Step> SequentialLimits::step_of(
    const Settled& settled, const LimitTest& test,
    const std::vector<base::Stretch>& undisturbed) const {
  const SequentialLimit& limit = limits_[test.limit];
  const Presented& trial = settled.trial;
  if (counted_by_block_.at(trial.id.block) != trials_of(limit.counted)) return std::nullopt;
  const Answer& answer = settled.answers.at(test.device);
  Step step{.id = trial.id, .failed = has_failed(answer, limit)};
  if (limit.counted == Counted::alarms) {
    for (const base::Stretch& stretch : undisturbed) step.listened += stretch.length();
    step.alarms = alarms_in(undisturbed, answer, trial);
  }
  return step;
}

void SequentialLimits::count(const Settled& settled) {
  count_quiet(settled, {{base::Duration::zero(), settled.trial.window}});
}

void SequentialLimits::count_quiet(const Settled& settled,
                                   const std::vector<base::Stretch>& undisturbed) {
  if (settled.void_reason || settled.trial.kind == base::TrialKind::reference) return;
  if (taken_back_.erase(settled.trial.id) > 0) return;
  for (LimitTest& test : tests_) {
    if (auto step = step_of(settled, test, undisturbed)) {
      test.apply(*step);
      test.steps.push_back(*std::move(step));
    }
  }
}

void SequentialLimits::correct_quiet(const Settled& settled,
                                     const std::vector<base::Stretch>& undisturbed) {
  for (LimitTest& test : tests_) {
    auto step = step_of(settled, test, undisturbed);
    const auto counted = std::find_if(test.steps.rbegin(), test.steps.rend(), [&](const Step& one) {
      return one.id == settled.trial.id;  // it came lately
    });
    if (!step || counted == test.steps.rend()) continue;
    *counted = *std::move(step);
    test.is_corrected = true;
  }
}

void SequentialLimits::test_corrected() {
  for (LimitTest& test : tests_) {
    if (test.is_corrected) test_again(test);
  }
}

void SequentialLimits::test_again(LimitTest& test) const {
  test.test = SequentialTest(*limits_[test.limit].design);
  test.listened = {};
  test.is_corrected = false;
  for (const Step& step : test.steps) test.apply(step);
}

void SequentialLimits::take_back(const base::TrialId& id) {
  bool was_counted = false;
  for (LimitTest& test : tests_) {
    if (std::erase_if(test.steps, [&](const Step& step) { return step.id == id; }) == 0) continue;
    was_counted = true;
    test_again(test);
  }
  if (!was_counted) taken_back_.insert(id);
}

bool SequentialLimits::is_known(std::uint32_t block) const {
  const Counted counted = counted_by_block_.at(block);
  bool any = false;
  for (const SequentialLimit& limit : limits_) {
    if (trials_of(limit.counted) != counted) continue;
    if (!limit.design) return false;
    any = true;
  }
  return any && std::all_of(tests_.begin(), tests_.end(), [&](const LimitTest& test) {
           return trials_of(limits_[test.limit].counted) != counted ||
                  test.test.state().standing != Standing::running;
         });
}

const SequentialTest* SequentialLimits::find(std::size_t limit, std::uint32_t device) const {
  const auto found = std::find_if(tests_.begin(), tests_.end(), [&](const LimitTest& test) {
    return test.limit == limit && test.device == device;
  });
  return found == tests_.end() ? nullptr : &found->test;
}

}  // namespace plexor::judge
