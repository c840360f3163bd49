#include "analysis/provable.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "analysis/figures.hpp"
#include "analysis/intervals.hpp"
#include "analysis/number_text.hpp"
#include "analysis/power.hpp"
#include "base/search.hpp"

namespace plexor::analysis {
namespace {

using scenario::Limit;

/// What the plan holds of the three things that are counted.
struct Planned {
  std::uint64_t expecting = 0;
  std::uint64_t distractors = 0;
  double quiet_hours = 0.0;
};

Planned count_plan(const scenario::Scenario& scenario) {
  Planned planned;
  base::Duration quiet{};
  for (const scenario::Block& block : scenario.blocks) {
    if (block.quiet) {
      quiet += block.window * (block.trials - 1) + block.last_window;
    } else if (scenario.rhythms[block.rhythm].is_distractor()) {
      planned.distractors += block.trials;
    } else {
      planned.expecting += block.trials;
    }
  }
  planned.quiet_hours = to_hours(quiet);
  return planned;
}

/// The largest k up to `most` for which `passes(k)` holds; passes must be falling in k.
std::optional<std::uint64_t> largest_passing(std::uint64_t most,
                                             const std::function<bool(std::uint64_t)>& passes) {
  if (!passes(0)) return std::nullopt;
  return base::first_where(1, most + 1, [&](std::uint64_t k) { return !passes(k); }) - 1;
}

/// What is counted under a limit, in words.
struct Phrases {
  std::string figure;
  std::string limit;
  std::string planned;   ///< "1000 trials", "4 h of quiet"
  std::string failure;   ///< noun for what must stay rare: "miss"
  std::string unit;      ///< of `needed`: "trials", "h of quiet"
  std::string remedy;    ///< "raise trials"
  std::string expected;  ///< "a device with 97.5 %"
};

constexpr double usual_power = 0.80;

/// "80 % take 371 trials"; the trials are whole, the hours rounded up to two digits.
std::string amount_text(const std::optional<double>& amount, const Phrases& words) {
  if (!amount) return "no number of " + words.unit;
  const bool is_whole = words.unit == "trials";
  return fmt::format("{} {}", is_whole ? *amount : std::ceil(*amount * 100) / 100, words.unit);
}

/// What the plan does for a device that is good, and what would do better.
std::string power_of(const Provable& found, const Phrases& words) {
  const std::string sure = fmt::format("{} passes with a probability of {:.0f} %", words.expected,
                                       std::floor(found.power * 100.0));
  return fmt::format("{}{} (for 80 %: {}; for 95 %: {})", sure,
                     found.power < usual_power ? ": " + words.remedy : std::string(),
                     amount_text(found.for_80, words), amount_text(found.for_95, words));
}

std::string sentence_of(const Provable& found, const Phrases& words) {
  const std::string begin = fmt::format("{} {}: ", words.figure, words.limit);
  if (!found.needed) {
    return begin + "no number of trials can show that; choose a limit short of perfection";
  }
  const double needed =
      words.unit == "trials" ? *found.needed : std::ceil(*found.needed * 100) / 100;
  if (!found.can_pass) {
    return fmt::format("{}cannot pass: {} planned, but even a perfect device needs {} {}; {}",
                       begin, words.planned, needed, words.unit, words.remedy);
  }
  return fmt::format("{}can pass: {} planned, passes with up to {}; a perfect device needs {} {}",
                     begin, words.planned, counted(*found.allowed, words.failure), needed,
                     words.unit);
}

Provable finish(Provable found, const Phrases& words) {
  found.figure = words.figure;
  found.limit = words.limit;
  found.can_pass = found.allowed.has_value();
  found.sentence = sentence_of(found, words);
  if (found.can_pass) found.power_sentence = power_of(found, words);
  return found;
}

std::optional<double> as_number(const std::optional<std::uint64_t>& count) {
  return count ? std::optional(static_cast<double>(*count)) : std::nullopt;
}

/// A share that must stay small: `n` trials, at most `most` of them may fail.
Provable rare_failures(std::uint64_t n, double most, double confidence, double expected,
                       const Phrases& words) {
  Provable found;
  found.planned = static_cast<double>(n);
  found.expected = expected;
  found.for_80 = as_number(trials_for_power(most, confidence, expected, 0.80));
  found.for_95 = as_number(trials_for_power(most, confidence, expected, 0.95));
  if (const auto needed = trials_to_show(1.0 - most, confidence, 0)) {
    found.needed = static_cast<double>(*needed);
  }
  if (n > 0) {
    found.allowed = largest_passing(n, [&](std::uint64_t failures) {
      return clopper_pearson(failures, n, confidence, Sides::upper).upper <= most;
    });
  }
  if (found.allowed) found.power = chance_of_few_failures(n, *found.allowed, expected);
  return finish(std::move(found), words);
}

std::string a_device_with(double expected, const char* unit, const Limit& limit) {
  return fmt::format("a device with {}{}", limit_text(expected, unit),
                     limit.expected ? "" : " (assumed)");
}

Provable detection(const Planned& planned, const Limit& limit) {
  const double expected = limit.expected.value_or((1.0 + limit.value) / 2.0);
  return rare_failures(
      planned.expecting, 1.0 - limit.value, limit.confidence, 1.0 - expected,
      {"detection rate", "at least " + limit_text(limit.value, ""),
       counted(planned.expecting, "trial"), "failure", "trials",
       "raise trials, or lower the limit or its confidence", a_device_with(expected, "", limit)});
}

Provable small_share(const char* figure, std::uint64_t n, const Limit& limit) {
  const double expected = limit.expected.value_or(limit.value / 2.0);
  return rare_failures(
      n, limit.value, limit.confidence, expected,
      {figure, "at most " + limit_text(limit.value, ""), counted(n, "trial"), "answer", "trials",
       "raise trials, or the limit, or lower its confidence", a_device_with(expected, "", limit)});
}

Provable latency(const Planned& planned, const scenario::LatencyLimit& limit) {
  // The bound is an order statistic: so many answers may lie beyond it.
  const double expected = (1.0 - limit.quantile) / 2.0;
  return rare_failures(
      planned.expecting, 1.0 - limit.quantile, limit.limit.confidence, expected,
      {fmt::format("latency p{:g}", limit.quantile * 100.0),
       "at most " + limit_text(limit.limit.value, "ms"), counted(planned.expecting, "trial"),
       "later or missing answer", "trials", "raise trials, or lower the confidence",
       fmt::format("a device with {} later or missing", limit_text(expected, ""))});
}

Provable alarms(const Planned& planned, const Limit& limit) {
  Provable found;
  found.planned = planned.quiet_hours;
  found.expected = limit.expected.value_or(limit.value / 2.0);
  if (limit.value > 0.0) {
    found.needed = garwood(0, 1.0, limit.confidence, Sides::upper).upper / limit.value;
    found.for_80 = hours_for_power(limit.value, limit.confidence, found.expected, 0.80);
    found.for_95 = hours_for_power(limit.value, limit.confidence, found.expected, 0.95);
  }
  if (planned.quiet_hours > 0.0) {
    found.allowed = largest_passing(1'000'000, [&](std::uint64_t incidents) {
      return garwood(incidents, planned.quiet_hours, limit.confidence, Sides::upper).upper <=
             limit.value;
    });
  }
  if (found.allowed) {
    found.power = chance_of_few_incidents(planned.quiet_hours, *found.allowed, found.expected);
  }
  const std::string expected = a_device_with(found.expected, "/h", limit);
  return finish(std::move(found),
                {"false alarms per hour", "at most " + limit_text(limit.value, "/h"),
                 hours_text(planned.quiet_hours) + " of quiet", "false alarm", "h of quiet",
                 "raise quiet_s, or the limit, or lower its confidence", expected});
}

}  // namespace

std::vector<Provable> what_can_be_proved(const scenario::Scenario& scenario) {
  const Planned planned = count_plan(scenario);
  const scenario::Accept& accept = scenario.accept;
  std::vector<Provable> found;
  if (accept.detection_rate) found.push_back(detection(planned, *accept.detection_rate));
  for (const auto& limit : accept.latencies) found.push_back(latency(planned, limit));
  if (accept.false_alarms_per_hour) found.push_back(alarms(planned, *accept.false_alarms_per_hour));
  if (accept.false_response_rate) {
    found.push_back(
        small_share("false response rate", planned.distractors, *accept.false_response_rate));
  }
  if (accept.confusion_rate) {
    found.push_back(small_share("confusion rate", planned.expecting, *accept.confusion_rate));
  }
  return found;
}

}  // namespace plexor::analysis
