#pragma once

#include <cstdint>
#include <string>
#include <string_view>

#include "analysis/results.hpp"

// How a figure is written for people: one spelling for page, terminal and result file, on top of
// analysis/number_text.hpp, so that tables and the sentences of the verdicts agree.

namespace plexor::report {

/// A value in a verdict's unit: "" (a share), "ms" or "/h". An infinite latency is "not heard".
[[nodiscard]] std::string quantity(double value, std::string_view unit);
/// An uncertainty, which has two significant digits at the most (GUM 7.2.6): "0.029 ms".
[[nodiscard]] std::string uncertain_quantity(double value, std::string_view unit);
/// The share as text; an en dash where nothing was counted.
[[nodiscard]] std::string share_text(const analysis::Proportion& proportion);

/// "at least 95.8 %", "at most 812 ms", "95.1 % to 97.4 %". Bounds are rounded outwards; where a
/// `limit` is given, far enough to tell the bound from it. Missing bounds are named; an interval
/// that begins beyond every answer is "among those not heard".
[[nodiscard]] std::string interval_text(const analysis::Interval& interval, std::string_view unit);
[[nodiscard]] std::string interval_text(const analysis::Interval& interval, std::string_view unit,
                                        double limit);
/// "95 % confidence, one-sided, Clopper-Pearson".
[[nodiscard]] std::string confidence_text(const analysis::Interval& interval);

/// "at least 95 %": the limit as the scenario gives it, with all its digits.
[[nodiscard]] std::string limit_text(const analysis::Verdict& verdict);
/// "limit: at least 95 %", of a sequential one "98 % good, 95 % bad".
[[nodiscard]] std::string limit_label(const analysis::Verdict& verdict);
/// "4 of 8 trials, until the test ended": what a sequential limit counted.
[[nodiscard]] std::string tested_text(const analysis::Verdict& verdict);
/// How far a run with sequential limits went, and what that means for its figures; empty for
/// others.
[[nodiscard]] std::string early_stop_text(const analysis::Results& results);
/// The verdict's estimate; "not heard" where the percentile lies among the unanswered trials, "not
/// measured" where there is nothing.
[[nodiscard]] std::string estimate_text(const analysis::Verdict& verdict);
/// True where the estimate lies beyond every measured value.
[[nodiscard]] bool estimate_is_beyond(const analysis::Verdict& verdict);
/// "320 trials", "3 incidents".
[[nodiscard]] std::string sample_text(const analysis::Verdict& verdict);

/// "PASS", "FAIL", "UNDECIDED".
[[nodiscard]] std::string_view mark_word(analysis::Judgement judgement);

/// The headline without the judgement that it begins with ("Fail: "), to stand beside the mark.
[[nodiscard]] std::string headline_beside_mark(const analysis::Results& results);

/// "1 234 567", with no-break spaces.
[[nodiscard]] std::string count(std::uint64_t number);
/// Up to `decimals` decimals without trailing zeros: "0.9", "190", "12.5".
[[nodiscard]] std::string trimmed(double value, int decimals);
/// Several numbers as trimmed() writes them: "0.9, 0.85".
[[nodiscard]] std::string number_list(const std::vector<double>& values, int decimals);
/// Time within a run: "1:02:03.456".
[[nodiscard]] std::string clock_time(double seconds);
/// The same to the second: "1:02:03".
[[nodiscard]] std::string clock_of_run(double seconds);
/// A length of time in its two largest units: "2 h 05 min", "48 s".
[[nodiscard]] std::string length_of_time(double seconds);

/// Presentations that do not count, all reasons together.
[[nodiscard]] std::uint64_t void_total(const analysis::Results& results);
/// "re-strike 8, no-contact 4"; "none" without any.
[[nodiscard]] std::string void_reasons(const analysis::Results& results);
/// How the run ended, in words: "complete", "interrupted: key", "the journal just stops", "it still
/// goes on".
[[nodiscard]] std::string ending_text(const analysis::Results& results);
/// "m/s" on a calibrated rig, "drive" otherwise.
[[nodiscard]] std::string_view strike_unit(const analysis::Results& results);

}  // namespace plexor::report
