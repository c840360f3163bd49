#include "analysis/provable.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>

#include "analysis/figures.hpp"
#include "analysis/intervals.hpp"
#include "analysis/number_text.hpp"
#include "analysis/power.hpp"
#include "analysis/sequential_verdicts.hpp"
#include "base/search.hpp"
#include "judge/sequential_design.hpp"
#include "judge/sequential_limits.hpp"
#include "judge/sequential_walk.hpp"
#include "scenario/planner.hpp"

namespace plexor::analysis {
namespace {

using scenario::Limit;

using scenario::PlannedCounts;

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

Provable detection(const PlannedCounts& planned, const Limit& limit) {
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

Provable latency(const PlannedCounts& planned, const scenario::LatencyLimit& limit) {
  // The bound is an order statistic: so many answers may lie beyond it.
  const double expected = (1.0 - limit.quantile) / 2.0;
  return rare_failures(
      planned.expecting, 1.0 - limit.quantile, limit.limit.confidence, expected,
      {fmt::format("latency p{:g}", limit.quantile * 100.0),
       "at most " + limit_text(limit.limit.value, "ms"), counted(planned.expecting, "trial"),
       "later or missing answer", "trials", "raise trials, or lower the confidence",
       fmt::format("a device with {} later or missing", limit_text(expected, ""))});
}

Provable alarms(const PlannedCounts& planned, const Limit& limit) {
  Provable found;
  const double quiet_hours = to_hours(planned.quiet);
  found.planned = quiet_hours;
  found.expected = limit.expected.value_or(limit.value / 2.0);
  if (limit.value > 0.0) {
    found.needed = garwood(0, 1.0, limit.confidence, Sides::upper).upper / limit.value;
    found.for_80 = hours_for_power(limit.value, limit.confidence, found.expected, 0.80);
    found.for_95 = hours_for_power(limit.value, limit.confidence, found.expected, 0.95);
  }
  if (quiet_hours > 0.0) {
    found.allowed = largest_passing(1'000'000, [&](std::uint64_t incidents) {
      return garwood(incidents, quiet_hours, limit.confidence, Sides::upper).upper <= limit.value;
    });
  }
  if (found.allowed) {
    found.power = chance_of_few_incidents(quiet_hours, *found.allowed, found.expected);
  }
  const std::string expected = a_device_with(found.expected, "/h", limit);
  return finish(std::move(found),
                {"false alarms per hour", "at most " + limit_text(limit.value, "/h"),
                 hours_text(quiet_hours) + " of quiet", "false alarm", "h of quiet",
                 "raise quiet_s, or the limit, or lower its confidence", expected});
}

/// What a sequential test can do, in words.
class SequentialProof {
 public:
  SequentialProof(const Limit& limit, const judge::SequentialLimit& planned)
      : test_(*limit.sequential), planned_(planned), unit_(is_of_alarms() ? "/h" : "") {}

  [[nodiscard]] Provable result() const {
    Provable found;
    found.figure = figure_of(planned_);
    found.limit = fmt::format("{} good, {} bad", good(), bad());
    found.planned = planned_.planned;
    found.expected = judge::failures_per_exposure(planned_.aim.kind, planned_.aim.good);
    if (!planned_.design) return without_a_test(std::move(found));
    const judge::SequentialDesign& design = *planned_.design;
    found.can_pass = true;
    found.needed = judge::earliest_pass(design);
    found.allowed = design.pass_from.size() - 1;
    const auto at_good = judge::sequential_chances(design, planned_.aim.good);
    const auto at_bad = judge::sequential_chances(design, planned_.aim.bad);
    found.power = at_good.pass;
    found.sentence = fmt::format(
        "{} {}: can pass: {} planned, ends after {} at most, on average after {} at {} and {} at "
        "{}{}",
        found.figure, found.limit, amount(found.planned), amount(design.longest),
        amount(at_good.average), good(), amount(at_bad.average), bad(), fixed());
    found.power_sentence = fmt::format(
        "a device with {} passes with a probability of {}, one with {} with {}; it fails at the "
        "earliest {}{}",
        good(), percent(at_good.pass), bad(), percent(at_bad.pass), earliest_failure(),
        undecided());
    return found;
  }

 private:
  [[nodiscard]] bool is_of_alarms() const { return planned_.counted == judge::Counted::alarms; }
  [[nodiscard]] std::string good() const { return limit_text(test_.good, unit_); }
  [[nodiscard]] std::string bad() const { return limit_text(test_.bad, unit_); }
  [[nodiscard]] static std::string percent(double chance) {
    return fmt::format("{:.1f} %", chance * 100.0);
  }
  [[nodiscard]] std::string amount(double exposure) const {
    if (is_of_alarms()) return hours_text(exposure) + " of quiet";
    return counted(static_cast<std::uint64_t>(std::ceil(exposure)), "trial");
  }
  [[nodiscard]] std::string fixed() const {
    const auto plan = judge::fixed_plan(planned_.aim);
    return plan ? fmt::format(" (a fixed plan with the same errors: {})", amount(plan->exposure))
                : std::string();
  }
  [[nodiscard]] Provable without_a_test(Provable found) const {
    if (!planned_.least) {
      found.sentence = fmt::format(
          "{} {}: cannot pass: they lie so near each other that a test would take more than {} "
          "failures; choose them further apart",
          found.figure, found.limit, judge::most_allowed);
      return found;
    }
    found.needed = planned_.least;
    found.sentence = fmt::format(
        "{} {}: cannot pass: {} planned, but even a perfect device needs {}; {}", found.figure,
        found.limit, amount(found.planned), amount(*found.needed), remedy(*found.needed));
    return found;
  }
  /// "raise trials to 95 or more"
  [[nodiscard]] std::string remedy(double needed) const {
    if (planned_.planned <= 0.0) return "add a block for it";
    const double amount = std::ceil(is_of_alarms() ? needed * 3600.0 : needed);
    return fmt::format("raise {} to {:.0f} or more", is_of_alarms() ? "quiet_s" : "trials", amount);
  }
  /// "after 3 trials", "with 1 false alarm in the first 12 min"
  [[nodiscard]] std::string earliest_failure() const {
    const std::uint64_t failures = judge::earliest_fail(*planned_.design);
    if (!is_of_alarms()) return "after " + amount(static_cast<double>(failures));
    return fmt::format("with {} in the first {}", counted(failures, "false alarm"),
                       hours_text(planned_.design->fail_until.at(failures)));
  }
  /// Where the plan ends before the test does: most often for a device between good and bad.
  [[nodiscard]] std::string undecided() const {
    constexpr int steps = 40;
    double most = 0.0;
    for (int i = 0; i <= steps; ++i) {
      const double rate = planned_.aim.bad + (planned_.aim.good - planned_.aim.bad) * i / steps;
      most = std::max(most, judge::sequential_chances(*planned_.design, rate).undecided);
    }
    if (most < 5e-4) return {};
    return fmt::format("; the plan ends undecided in up to {} of all runs: {} to decide always",
                       percent(most), remedy(*planned_.always_decides));
  }

  const scenario::Sequential& test_;
  const judge::SequentialLimit& planned_;
  std::string unit_;
};

}  // namespace

std::vector<Provable> what_can_be_proved(const scenario::Scenario& scenario) {
  const PlannedCounts planned = scenario::planned_counts(scenario);
  const std::vector<judge::SequentialLimit> sequential = judge::sequential_limits(scenario);
  auto next_sequential = sequential.begin();  // in the order of what is found here
  std::vector<Provable> found;
  const auto add = [&](const std::optional<Limit>& limit, const auto& prove_fixed) {
    if (!limit) return;
    found.push_back(limit->sequential ? SequentialProof(*limit, *next_sequential++).result()
                                      : prove_fixed(*limit));
  };
  const scenario::Accept& accept = scenario.accept;
  add(accept.detection_rate, [&](const Limit& limit) { return detection(planned, limit); });
  for (const scenario::LatencyLimit& limit : accept.latencies) {
    add(limit.limit, [&](const Limit&) { return latency(planned, limit); });
  }
  add(accept.false_alarms_per_hour, [&](const Limit& limit) { return alarms(planned, limit); });
  add(accept.false_response_rate, [&](const Limit& limit) {
    return small_share("false response rate", planned.distractors, limit);
  });
  add(accept.confusion_rate,
      [&](const Limit& limit) { return small_share("confusion rate", planned.expecting, limit); });
  return found;
}

}  // namespace plexor::analysis
