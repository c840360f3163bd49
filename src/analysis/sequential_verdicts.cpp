#include "analysis/sequential_verdicts.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "analysis/number_text.hpp"
#include "judge/sequential_estimate.hpp"

namespace plexor::analysis {
namespace {

using judge::Counted;
using judge::SequentialLimit;
using judge::SequentialState;
using judge::Standing;

bool counts_failures(Counted counted) {
  return counted == Counted::confusions || counted == Counted::responses;
}

std::string unit_of(Counted counted) { return counted == Counted::alarms ? "/h" : ""; }

/// The test's share of what does not fail, as the share that the limit is on.
double as_limited(double rate, Counted counted) {
  return counts_failures(counted) ? 1.0 - rate : rate;
}

Interval interval_of(const judge::SequentialEstimate& estimate, Counted counted) {
  const double lower = as_limited(estimate.lower, counted);
  const double upper = as_limited(estimate.upper, counted);
  return {.lower = std::min(lower, upper),
          .upper = std::max(lower, upper),
          .confidence = estimate.confidence,
          .sides = Sides::two,
          .method = "order of stages, exact"};
}

std::string so_many(const SequentialState& state, std::string_view verb, std::string_view noun) {
  const auto trials = static_cast<std::uint64_t>(state.exposure);
  const bool hits = noun == "knock";
  return fmt::format("{} {} of {}", verb, hits ? trials - state.failures : state.failures,
                     counted(trials, noun));
}

/// "heard 134 of 137 knocks"
std::string counts_text(const SequentialLimit& limit, const SequentialState& state) {
  const auto trials = static_cast<std::uint64_t>(state.exposure);
  switch (limit.counted) {
    case Counted::hits: return so_many(state, "heard", "knock");
    case Counted::answers_in_time:
      return fmt::format("{} within {}", so_many(state, "answered", "knock"),
                         limit_text(limit.within_ms, "ms"));
    case Counted::confusions:
      return fmt::format("took {} of {} for another rhythm", state.failures,
                         counted(trials, "knock"));
    case Counted::responses: return so_many(state, "answered", "distractor");
    case Counted::alarms:
      return fmt::format("raised {} in {} of quiet", counted(state.failures, "false alarm"),
                         hours_text(state.exposure));
  }
  return {};
}

/// "a device with 98 % fails in at most 5 % of such runs, one with 95 % passes in at most 5 %"
std::string aim_text(const SequentialVerdict& test, const std::string& unit) {
  return fmt::format(
      "a device with {} fails in at most {} of such runs, one with {} passes in at "
      "most {}",
      limit_text(test.good, unit), limit_text(test.alpha, ""), limit_text(test.bad, unit),
      limit_text(test.beta, ""));
}

std::string standing_text(Standing standing) {
  switch (standing) {
    case Standing::pass: return "that was enough to pass";
    case Standing::fail: return "that was enough to fail";
    case Standing::undecided: return "the plan ended before the test did: undecided";
    case Standing::running: return "the test had not ended: undecided";
  }
  return {};
}

void withdraw(Proportion& proportion) {
  proportion.exact.reset();
  proportion.wilson.reset();
}

void withdraw(AlarmRate& rate) {
  rate.exact.reset();
  if (rate.scatter) rate.scatter->by_hours.reset();
}

void withdraw(Latency& latency) {
  for (auto* percentiles : {&latency.percentiles, &latency.heard_percentiles}) {
    for (Percentile& one : *percentiles) one.interval.reset();
  }
}

Judgement judgement_of(Standing standing) {
  if (standing == Standing::pass) return Judgement::pass;
  return standing == Standing::fail ? Judgement::fail : Judgement::undecided;
}

/// How much more it takes at most until a test of this aim has ended with an answer.
std::uint64_t most_more(const SequentialLimit& limit, const SequentialState& state) {
  return static_cast<std::uint64_t>(std::ceil(*limit.always_decides - state.exposure));
}

/// As many errors on either side as the verdict may make: the interval of a pass then excludes the
/// bad rate, that of a fail the good one.
double confidence_of(Judgement judgement, const judge::SequentialAim& aim) {
  if (judgement == Judgement::pass) return 1.0 - 2.0 * aim.beta;
  if (judgement == Judgement::fail) return 1.0 - 2.0 * aim.alpha;
  return 1.0 - 2.0 * std::max(aim.alpha, aim.beta);
}

void estimate_from(Verdict& verdict, const SequentialLimit& limit, const SequentialState& state) {
  const double confidence = confidence_of(verdict.judgement, limit.aim);
  const auto estimate = judge::sequential_estimate(*limit.design, state, confidence);
  verdict.estimate = as_limited(estimate.median_unbiased, limit.counted);
  verdict.interval = interval_of(estimate, limit.counted);
}

/// "97.8 %, 93.7 % to 99.4 % with 90 % confidence"
std::string estimate_words(const Verdict& verdict) {
  const Interval& interval = *verdict.interval;
  const std::string lower = bound_text(interval.lower, verdict.limit, verdict.unit, Rounding::down);
  const std::string ends =
      std::isinf(interval.upper)
          ? "at least " + lower
          : fmt::format("{} to {}", lower,
                        bound_text(interval.upper, verdict.limit, verdict.unit, Rounding::up));
  return fmt::format("{}, {} with {} confidence", figure_text(*verdict.estimate, verdict.unit),
                     ends, limit_text(interval.confidence, ""));
}

void put_into_words(Judged& judged, const SequentialLimit& limit, const SequentialState& state) {
  Verdict& verdict = judged.verdict;
  const std::string counts = counts_text(limit, state);
  const std::string aim = aim_text(*verdict.sequential, verdict.unit);
  const std::string more = what_would_decide(verdict);
  if (!verdict.interval) {
    verdict.reason = fmt::format("there was nothing to test ({}): undecided", aim);
    judged.said = fmt::format("{}: there was nothing to test ({})", verdict.device, aim);
    return;
  }
  const std::string estimate = estimate_words(verdict);
  verdict.reason =
      fmt::format("{}: {}{}{} ({}); corrected for the early stop {}", counts,
                  standing_text(state.standing), more.empty() ? "" : ", ", more, aim, estimate);
  judged.said =
      fmt::format("{} {} (corrected for the early stop {}; good is {}, bad {})", verdict.device,
                  counts, estimate, limit_text(verdict.sequential->good, verdict.unit),
                  limit_text(verdict.sequential->bad, verdict.unit));
}

}  // namespace

std::string figure_of(const SequentialLimit& limit) {
  switch (limit.counted) {
    case Counted::hits: return "detection rate";
    case Counted::answers_in_time: return "answered within " + limit_text(limit.within_ms, "ms");
    case Counted::confusions: return "confusion rate";
    case Counted::responses: return "false response rate";
    case Counted::alarms: return "false alarms per hour";
  }
  return {};
}

void withdraw_fixed_intervals(DeviceResult& device, const scenario::Accept& accept) {
  const bool expecting = accept.expecting_may_stop();
  const bool distractors = accept.distractors_may_stop();
  const bool quiet = accept.quiet_may_stop();
  const auto of_rhythms = [&](std::vector<RhythmResult>& rhythms) {
    for (RhythmResult& rhythm : rhythms) {
      if (rhythm.expects.empty() ? !distractors : !expecting) continue;
      withdraw(rhythm.correct);
      rhythm.median_interval.reset();
    }
  };
  of_rhythms(device.rhythms);
  if (distractors) withdraw(device.false_responses);
  if (expecting) {
    withdraw(device.detection);
    withdraw(device.confusions);
    withdraw(device.latency);
    for (StrengthBin& bin : device.strength) withdraw(bin.detected);
  }
  if (quiet) withdraw(device.false_alarms);
  for (ListenerResult& listener : device.listeners) {
    of_rhythms(listener.rhythms);
    if (expecting) {
      withdraw(listener.detection);
      withdraw(listener.latency);
    }
    if (quiet) withdraw(listener.false_alarms);
  }
}

void withdraw_fixed_intervals(SoakResults& soak, const scenario::Accept& accept) {
  for (RunHour& hour : soak.hours) {
    for (DeviceHour& device : hour.devices) {
      if (accept.expecting_may_stop()) withdraw(device.detection);
      if (accept.quiet_may_stop()) withdraw(device.false_alarms);
    }
  }
}

Judged judge_sequential(const std::string& device, const scenario::Limit& limit,
                        const SequentialLimit& planned, const judge::SequentialTest* test) {
  const scenario::Sequential& aim = *limit.sequential;
  Judged judged;
  Verdict& verdict = judged.verdict;
  verdict.device = device;
  verdict.figure = figure_of(planned);
  verdict.unit = unit_of(planned.counted);
  verdict.at_least =
      planned.counted == Counted::hits || planned.counted == Counted::answers_in_time;
  verdict.limit = aim.bad;
  verdict.sequential = SequentialVerdict{.good = aim.good,
                                         .bad = aim.bad,
                                         .alpha = aim.alpha,
                                         .beta = aim.beta,
                                         .within_ms = planned.within_ms};
  SequentialState state;
  if (test != nullptr) {
    state = test->state();
    verdict.sequential->at_most = planned.design->longest;
    verdict.sequential->used = state.exposure;
    verdict.sequential->failures = state.failures;
    verdict.judgement = judgement_of(state.standing);
    const bool alarms = planned.counted == Counted::alarms;
    verdict.n = alarms ? state.failures : static_cast<std::uint64_t>(state.exposure);
    if (verdict.judgement == Judgement::undecided) verdict.more_needed = most_more(planned, state);
    const bool any = state.exposure > 0.0 || state.standing != Standing::running;
    if (any) estimate_from(verdict, planned, state);
  }
  put_into_words(judged, planned, state);
  return judged;
}

}  // namespace plexor::analysis
