#include "analysis/verdicts.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

#include "analysis/latency.hpp"
#include "analysis/number_text.hpp"
#include "analysis/sequential_verdicts.hpp"
#include "analysis/soak/hour_blocks.hpp"
#include "base/search.hpp"

namespace plexor::analysis {
namespace {

using scenario::Limit;

/// The one-sided bounds that judge a figure; they share a confidence.
struct Bounds {
  Interval lower;
  Interval upper;
};

/// What a figure is called and how its measurement is said.
struct Words {
  std::string figure;
  std::string unit;
  std::string measured;  ///< "313 of 320 heard"
  std::string said;      ///< "panel heard 313 of 320 knocks"
  std::string nothing;   ///< why there is no figure: "no trial expects an event"
};

std::uint64_t scaled(std::uint64_t x, double factor) {
  return static_cast<std::uint64_t>(std::llround(static_cast<double>(x) * factor));
}

Bounds share_bounds(std::uint64_t x, std::uint64_t n, double confidence) {
  return {.lower = clopper_pearson(x, n, confidence, Sides::lower),
          .upper = clopper_pearson(x, n, confidence, Sides::upper)};
}

/// Of alarms as they came: where hours scatter too far for one steady rate, by hour blocks.
Bounds rate_bounds(std::uint64_t events, double hours, const std::optional<HourScatter>& scatter,
                   double confidence) {
  if (scatter && scatter->by_hours) {
    const Events all{.count = events, .exposure = hours};
    return {.lower = rate_by_hours(all, *scatter, confidence, Sides::lower),
            .upper = rate_by_hours(all, *scatter, confidence, Sides::upper)};
  }
  return {.lower = garwood(events, hours, confidence, Sides::lower),
          .upper = garwood(events, hours, confidence, Sides::upper)};
}

/// Of order statistics, moved outwards by what a measured latency may be off.
Bounds quantile_bounds(std::span<const double> sorted, double p, double confidence,
                       double uncertainty) {
  Bounds bounds{.lower = quantile_interval(sorted, p, confidence, Sides::lower),
                .upper = quantile_interval(sorted, p, confidence, Sides::upper)};
  if (uncertainty == 0.0) return bounds;
  bounds.lower.lower -= uncertainty;
  bounds.upper.upper += uncertainty;
  bounds.upper.method += fmt::format(", widened by {:.2g} ms of measurement", uncertainty);
  bounds.lower.method = bounds.upper.method;
  return bounds;
}

/// Expanded uncertainty of one latency as the device's own figures have it, in ms.
double expanded_uncertainty(const DeviceResult& device) {
  if (device.listeners.empty()) return 0.0;
  const Budget& budget = device.listeners.front().latency_budget;
  return budget.contributions.empty() ? 0.0 : budget.coverage_factor_95() * budget.combined();
}

bool at_least(const Limit& limit) { return limit.side == Limit::Side::at_least; }

Judgement judge(const Bounds& bounds, const Limit& limit) {
  const double lower = bounds.lower.lower;
  const double upper = bounds.upper.upper;
  if (at_least(limit) ? lower >= limit.value : upper <= limit.value) return Judgement::pass;
  if (at_least(limit) ? upper < limit.value : lower > limit.value) return Judgement::fail;
  return Judgement::undecided;
}

/// The bound that was asked: the passing side, unless the other side failed it.
const Interval& judging(const Bounds& bounds, const Limit& limit, Judgement judgement) {
  const bool lower = at_least(limit) != (judgement == Judgement::fail);
  return lower ? bounds.lower : bounds.upper;
}

/// "at least 95.9 %", "at most 87.9 %", or that there is no such bound.
std::string bound_words(const Verdict& verdict) {
  const Interval& interval = *verdict.interval;
  const bool lower = interval.sides == Sides::lower;
  const double bound = lower ? interval.lower : interval.upper;
  // A lower bound of +infinity is a bound: even it lies among the unanswered.
  if (std::isinf(bound) && lower && bound > 0.0) return "later than every answer";
  if (std::isinf(bound)) return lower ? "no lower bound" : "no upper bound";
  return fmt::format(
      "{} {}", lower ? "at least" : "at most",
      bound_text(bound, verdict.limit, verdict.unit, lower ? Rounding::down : Rounding::up));
}

std::string judgement_words(const Verdict& verdict) {
  if (verdict.judgement != Judgement::undecided) return std::string(to_text(verdict.judgement));
  if (!verdict.more_needed)
    return "undecided, and too near the limit for any useful number of trials";
  return fmt::format("undecided, {}", what_would_decide(verdict));
}

void put_into_words(Judged& judged, const Words& words) {
  Verdict& verdict = judged.verdict;
  const std::string limit = limit_text(verdict.limit, verdict.unit);
  if (!verdict.interval) {
    verdict.reason = fmt::format("{}; the limit is {}: undecided", words.nothing, limit);
    judged.said = fmt::format("{}: {} (limit {})", verdict.device, words.nothing, limit);
    return;
  }
  const std::string confidence = limit_text(verdict.interval->confidence, "");
  const std::string bound = bound_words(verdict);
  verdict.reason = fmt::format("{}; with {} confidence {}; the limit is {}: {}", words.measured,
                               confidence, bound, limit, judgement_words(verdict));
  const std::string estimate =
      verdict.estimate ? figure_text(*verdict.estimate, verdict.unit) + ", " : "";
  judged.said = fmt::format("{} ({}{} with {} confidence; limit {})", words.said, estimate, bound,
                            confidence, limit);
}

/// What is known of a figure before it is judged. No bounds: nothing was measured.
struct Measured {
  std::optional<double> estimate;
  std::uint64_t n = 0;
  std::optional<Bounds> bounds;
  std::function<bool(std::uint64_t more)> decides;  ///< with so much more at the same estimate
};

Judged judge_figure(const std::string& device, const Words& words, const Measured& measured,
                    const Limit& limit) {
  Judged judged;
  Verdict& verdict = judged.verdict;
  verdict.device = device;
  verdict.figure = words.figure;
  verdict.unit = words.unit;
  verdict.at_least = at_least(limit);
  verdict.limit = limit.value;
  verdict.n = measured.n;
  if (measured.estimate && std::isfinite(*measured.estimate)) verdict.estimate = measured.estimate;
  if (measured.bounds) {
    verdict.judgement = judge(*measured.bounds, limit);
    verdict.interval = judging(*measured.bounds, limit, verdict.judgement);
    if (verdict.judgement == Judgement::undecided) {
      verdict.more_needed = fewest_more(measured.decides);
    }
  }
  put_into_words(judged, words);
  return judged;
}

Judged judge_share(const std::string& device, const Words& words, const Proportion& share,
                   const Limit& limit) {
  Measured measured{.estimate = share.estimate, .n = share.n, .bounds = {}, .decides = {}};
  if (share.n == 0) return judge_figure(device, words, measured, limit);
  measured.bounds = share_bounds(share.x, share.n, limit.confidence);
  measured.decides = [&](std::uint64_t more) {
    const std::uint64_t n = share.n + more;
    const double growth = static_cast<double>(n) / static_cast<double>(share.n);
    const Bounds bounds = share_bounds(scaled(share.x, growth), n, limit.confidence);
    return judge(bounds, limit) != Judgement::undecided;
  };
  return judge_figure(device, words, measured, limit);
}

Judged judge_detection(const DeviceResult& device, const Limit& limit) {
  const Proportion& share = device.detection;
  return judge_share(
      device.name,
      {.figure = "detection rate",
       .unit = "",
       .measured = fmt::format("{} of {} heard", share.x, share.n),
       .said = fmt::format("{} heard {} of {}", device.name, share.x, counted(share.n, "knock")),
       .nothing = "no valid trial expects an event"},
      share, limit);
}

Judged judge_false_responses(const DeviceResult& device, const Limit& limit) {
  const Proportion& share = device.false_responses;
  const std::string of = fmt::format("{} of {}", share.x, counted(share.n, "distractor"));
  return judge_share(device.name,
                     {.figure = "false response rate",
                      .unit = "",
                      .measured = of + " answered",
                      .said = fmt::format("{} answered {}", device.name, of),
                      .nothing = "no valid trial presents a distractor"},
                     share, limit);
}

Judged judge_confusions(const DeviceResult& device, const Limit& limit) {
  const Proportion& share = device.confusions;
  const std::string of = fmt::format("{} of {}", share.x, counted(share.n, "knock"));
  return judge_share(device.name,
                     {.figure = "confusion rate",
                      .unit = "",
                      .measured = of + " taken for another rhythm",
                      .said = fmt::format("{} took {} for another rhythm", device.name, of),
                      .nothing = "no valid trial expects an event"},
                     share, limit);
}

Judged judge_alarms(const DeviceResult& device, const Limit& limit) {
  const AlarmRate& alarms = device.false_alarms;
  const bool in_bursts = alarms.scatter && alarms.scatter->by_hours;
  const std::string in_quiet =
      fmt::format("{} in {} of quiet{}", counted(alarms.incidents, "false alarm"),
                  hours_text(alarms.hours), in_bursts ? ", in bursts" : "");
  const Words words{.figure = "false alarms per hour",
                    .unit = "/h",
                    .measured = in_quiet,
                    .said = fmt::format("{} raised {}", device.name, in_quiet),
                    .nothing = "there was no valid quiet to listen to"};
  Measured measured{
      .estimate = alarms.per_hour, .n = alarms.incidents, .bounds = {}, .decides = {}};
  if (!alarms.per_hour) return judge_figure(device.name, words, measured, limit);
  measured.bounds = rate_bounds(alarms.incidents, alarms.hours, alarms.scatter, limit.confidence);
  measured.decides = [&](std::uint64_t more) {
    const double hours = alarms.hours + static_cast<double>(more);
    const std::uint64_t incidents = scaled(alarms.incidents, hours / alarms.hours);
    return judge(rate_bounds(incidents, hours, alarms.scatter, limit.confidence), limit) !=
           Judgement::undecided;
  };
  return judge_figure(device.name, words, measured, limit);
}

/// Answers that are within the limit for certain, and those that may be.
struct Within {
  std::uint64_t surely = 0;
  std::uint64_t perhaps = 0;
};

Within count_within(std::span<const double> sorted, double limit, double uncertainty) {
  const auto at_most = [&](double value) {
    return static_cast<std::uint64_t>(std::upper_bound(sorted.begin(), sorted.end(), value) -
                                      sorted.begin());
  };
  return {.surely = at_most(limit - uncertainty), .perhaps = at_most(limit + uncertainty)};
}

/// With n trials: do the order statistics decide?
/// The one at a rank lies within the limit exactly when so many answers do.
bool ranks_decide(const Within& within, std::uint64_t n, double p, double confidence) {
  return within.surely >= quantile_ranks(n, p, confidence, Sides::upper).upper ||
         within.perhaps < quantile_ranks(n, p, confidence, Sides::lower).lower;
}

Judged judge_latency(const DeviceEvidence& device, const scenario::LatencyLimit& latency) {
  const std::span<const double> sorted(device.latencies);
  const std::uint64_t n = sorted.size();
  const std::string& name = device.result.name;
  const std::string figure = fmt::format("latency p{:.6g}", 100.0 * latency.quantile);
  const std::optional<double> estimate = quantile_type7(sorted, latency.quantile);
  const std::uint64_t not_heard = n - device.result.detection.x;
  const std::string of = fmt::format("of {}, {} not heard", counted(n, "trial"), not_heard);
  const std::string value = estimate && std::isfinite(*estimate)
                                ? fmt::format("is {}", figure_text(*estimate, "ms"))
                                : "lies among those not heard";
  const Words words{.figure = figure,
                    .unit = "ms",
                    .measured = fmt::format("{} {} ({})", figure, value, of),
                    .said = fmt::format("{}'s {} {}", name, figure, of),
                    .nothing = "no valid trial expects an event"};
  Measured measured{.estimate = estimate, .n = n, .bounds = {}, .decides = {}};
  if (n == 0) return judge_figure(name, words, measured, latency.limit);
  const double uncertainty = expanded_uncertainty(device.result);
  measured.bounds =
      quantile_bounds(sorted, latency.quantile, latency.limit.confidence, uncertainty);
  const Within within = count_within(sorted, latency.limit.value, uncertainty);
  measured.decides = [=](std::uint64_t more) {
    const double growth = static_cast<double>(n + more) / static_cast<double>(n);
    return ranks_decide({scaled(within.surely, growth), scaled(within.perhaps, growth)}, n + more,
                        latency.quantile, latency.limit.confidence);
  };
  return judge_figure(name, words, measured, latency.limit);
}

}  // namespace

std::string_view to_text(Judgement judgement) {
  switch (judgement) {
    case Judgement::pass: return "pass";
    case Judgement::fail: return "fail";
    case Judgement::undecided: return "undecided";
    case Judgement::measured: return "measured";
  }
  return "unknown";
}

std::string what_would_decide(const Verdict& verdict) {
  if (!verdict.more_needed) return {};
  const std::string_view noun = verdict.unit == "/h" ? "hour" : "trial";
  if (const auto& test = verdict.sequential) {
    const double whole = std::ceil(test->used + static_cast<double>(*verdict.more_needed));
    return fmt::format("a plan of {} always decides",
                       counted(static_cast<std::uint64_t>(whole), noun));
  }
  const std::uint64_t more = about(*verdict.more_needed);
  return fmt::format("about {} more {}{} would decide", more, noun, more == 1 ? "" : "s");
}

std::optional<std::uint64_t> fewest_more(const std::function<bool(std::uint64_t more)>& decides) {
  constexpr std::uint64_t most = 10'000'000;
  return base::first_by_doubling(most, decides);
}

std::vector<Judged> judge_limits(const scenario::Accept& accept,
                                 std::span<const DeviceEvidence> devices,
                                 const judge::SequentialLimits& sequential) {
  std::vector<Judged> judged;
  std::size_t next_sequential = 0;  // both lists have one order
  const auto each_device = [&](const Limit& limit, const auto& judge_fixed) {
    for (std::uint32_t device = 0; device < devices.size(); ++device) {
      judged.push_back(limit.sequential ? judge_sequential(devices[device].result.name, limit,
                                                           sequential.limits()[next_sequential],
                                                           sequential.find(next_sequential, device))
                                        : judge_fixed(devices[device]));
    }
    if (limit.sequential) ++next_sequential;
  };
  const auto each_result = [&](const std::optional<Limit>& limit, const auto& judge_one) {
    if (!limit) return;
    each_device(*limit,
                [&](const DeviceEvidence& device) { return judge_one(device.result, *limit); });
  };
  each_result(accept.detection_rate, judge_detection);
  for (const scenario::LatencyLimit& latency : accept.latencies) {
    each_device(latency.limit,
                [&](const DeviceEvidence& device) { return judge_latency(device, latency); });
  }
  each_result(accept.false_alarms_per_hour, judge_alarms);
  each_result(accept.false_response_rate, judge_false_responses);
  each_result(accept.confusion_rate, judge_confusions);
  return judged;
}

}  // namespace plexor::analysis
