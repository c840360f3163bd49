#include "report/format.hpp"

#include <fmt/format.h>

#include <cmath>
#include <limits>
#include <numeric>

#include "analysis/number_text.hpp"

namespace plexor::report {

std::string quantity(double value, std::string_view unit) {
  if (std::isinf(value)) return unit == "ms" ? "not heard" : "unbounded";
  return analysis::figure_text(value, unit);
}

std::string uncertain_quantity(double value, std::string_view unit) {
  return fmt::format("{:.2g} {}", value, unit);
}

std::string share_text(const analysis::Proportion& proportion) {
  return proportion.estimate ? quantity(*proportion.estimate, "") : "–";
}

std::string interval_text(const analysis::Interval& interval, std::string_view unit) {
  return interval_text(interval, unit, std::numeric_limits<double>::quiet_NaN());
}

std::string interval_text(const analysis::Interval& interval, std::string_view unit, double limit) {
  const bool has_lower = !std::isinf(interval.lower) && interval.sides != analysis::Sides::upper;
  const bool has_upper = !std::isinf(interval.upper) && interval.sides != analysis::Sides::lower;
  const std::string lower =
      analysis::bound_text(interval.lower, limit, unit, analysis::Rounding::down);
  const std::string upper =
      analysis::bound_text(interval.upper, limit, unit, analysis::Rounding::up);
  if (std::isinf(interval.lower) && interval.lower > 0.0) return "among those not heard";
  if (has_lower && has_upper) return lower + " to " + upper;
  const bool two = interval.sides == analysis::Sides::two;
  if (has_lower) return "at least " + lower + (two ? ", no upper bound" : "");
  if (has_upper) return "at most " + upper + (two ? ", no lower bound" : "");
  if (interval.sides == analysis::Sides::lower) return "no lower bound";
  return interval.sides == analysis::Sides::upper ? "no upper bound" : "no bounds";
}

std::string confidence_text(const analysis::Interval& interval) {
  return fmt::format("{} % confidence, {}-sided, {}", trimmed(100.0 * interval.confidence, 3),
                     interval.sides == analysis::Sides::two ? "two" : "one", interval.method);
}

std::string limit_text(const analysis::Verdict& verdict) {
  if (const auto& test = verdict.sequential) {
    return fmt::format("{} good, {} bad", analysis::limit_text(test->good, verdict.unit),
                       analysis::limit_text(test->bad, verdict.unit));
  }
  return (verdict.at_least ? "at least " : "at most ") +
         analysis::limit_text(verdict.limit, verdict.unit);
}

bool estimate_is_beyond(const analysis::Verdict& verdict) {
  if (verdict.estimate) return std::isinf(*verdict.estimate);
  return verdict.unit == "ms" && verdict.n > 0;
}

std::string estimate_text(const analysis::Verdict& verdict) {
  if (estimate_is_beyond(verdict)) return "not heard";
  return verdict.estimate ? quantity(*verdict.estimate, verdict.unit) : "not measured";
}

std::string tested_text(const analysis::Verdict& verdict) {
  const analysis::SequentialVerdict& test = verdict.sequential.value();
  if (verdict.unit == "/h") {
    return fmt::format("{} in {} of quiet, until the test ended",
                       analysis::counted(test.failures, "incident"),
                       analysis::hours_text(test.used));
  }
  const auto trials = static_cast<std::uint64_t>(test.used);
  return fmt::format("{} of {} trials, until the test ended",
                     count(verdict.at_least ? trials - test.failures : test.failures),
                     count(trials));
}

std::string sample_text(const analysis::Verdict& verdict) {
  const std::string_view noun = verdict.unit == "/h" ? "incident" : "trial";
  return fmt::format("{} {}{}", count(verdict.n), noun, verdict.n == 1 ? "" : "s");
}

std::string limit_label(const analysis::Verdict& verdict) {
  return verdict.sequential ? limit_text(verdict) : "limit: " + limit_text(verdict);
}

std::string early_stop_text(const analysis::Results& results) {
  if (!results.may_stop_early) return {};
  const bool less_quiet = results.quiet_hours < results.quiet_hours_planned - 1e-9;
  const std::string what =
      results.trials_spared == 0 && !less_quiet
          ? "limits tested while the run went on; it went to its end."
          : fmt::format("stopped early, after {} of {} planned trials and {} of {} of quiet.",
                        count(results.trials_valid), count(results.trials_planned),
                        analysis::hours_text(results.quiet_hours),
                        analysis::hours_text(results.quiet_hours_planned));
  return what +
         " The tables count all of it, also what came after a test had ended; only the limits' own "
         "estimates take the stop into account. Intervals for a fixed number of trials are left "
         "out.";
}

std::string_view mark_word(analysis::Judgement judgement) {
  switch (judgement) {
    case analysis::Judgement::pass: return "PASS";
    case analysis::Judgement::fail: return "FAIL";
    case analysis::Judgement::undecided: return "UNDECIDED";
    case analysis::Judgement::measured: return "MEASURED";
  }
  return "UNDECIDED";
}

std::string headline_beside_mark(const analysis::Results& results) {
  const std::string_view word = analysis::to_text(results.overall);
  const std::string& headline = results.headline;
  const bool begins = headline.size() > word.size() &&
                      headline.substr(1).starts_with(word.substr(1)) &&
                      headline.substr(word.size()).starts_with(": ");
  return begins ? headline.substr(word.size() + 2) : headline;
}

std::string count(std::uint64_t number) {
  std::string text = std::to_string(number);
  if (text.size() < 5) return text;  // four digits are read at a glance, and sentences have them so
  for (std::size_t i = text.size(); i > 3;) {
    i -= 3;
    text.insert(i, "\xC2\xA0");
  }
  return text;
}

std::string trimmed(double value, int decimals) {
  std::string text = fmt::format("{:.{}f}", value, decimals);
  if (text.find('.') == std::string::npos) return text;
  text.erase(text.find_last_not_of('0') + 1);
  if (text.back() == '.') text.pop_back();
  return text == "-0" ? "0" : text;
}

std::string number_list(const std::vector<double>& values, int decimals) {
  std::string text;
  for (const double value : values) {
    if (!text.empty()) text += ", ";
    text += trimmed(value, decimals);
  }
  return text;
}

std::string clock_time(double seconds) {
  const auto ms = static_cast<std::int64_t>(std::llround(seconds * 1000.0));
  const std::int64_t s = ms / 1000;
  return fmt::format("{}:{:02}:{:02}.{:03}", s / 3600, s / 60 % 60, s % 60, ms % 1000);
}

std::string length_of_time(double seconds) { return analysis::length_text(seconds); }

std::string clock_of_run(double seconds) {
  const auto s = static_cast<std::int64_t>(std::llround(seconds));
  return fmt::format("{}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60);
}

std::uint64_t void_total(const analysis::Results& results) {
  return std::accumulate(results.voids.begin(), results.voids.end(), std::uint64_t{0});
}

std::string void_reasons(const analysis::Results& results) {
  std::string text;
  for (const base::VoidReason reason : base::all_void_reasons) {
    const std::uint64_t number = results.voids[static_cast<std::size_t>(reason)];
    if (number == 0) continue;
    text += fmt::format("{}{} {}", text.empty() ? "" : ", ", base::to_text(reason), count(number));
  }
  return text.empty() ? "none" : text;
}

std::string ending_text(const analysis::Results& results) {
  if (results.is_live) return "it still goes on";
  if (!results.ended) return "the journal just stops";
  std::string text{journal::to_text(results.ended->reason)};
  if (!results.ended->detail.empty()) text += ": " + results.ended->detail;
  return text;
}

std::string_view strike_unit(const analysis::Results& results) {
  return results.header.rig.calibrated ? "m/s" : "drive";
}

}  // namespace plexor::report
