#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "analysis/history/trend.hpp"

// Words of the findings; only for files of this folder.

namespace plexor::analysis::history {

/// "once", "twice", "3 times".
[[nodiscard]] std::string times_text(std::uint64_t times);
/// "p = 0.0012"; "p < 0.0001".
[[nodiscard]] std::string p_text(double p);
/// "97.8 % (2504 of 2560)", "2.25 per hour (9 in 4 h)", "612 ms", "43.1 °C": of one point, or of
/// several together.
[[nodiscard]] std::string level_text(const TrendSeries& series,
                                     std::span<const std::size_t> points);
/// "1.2 points a night", "0.40 ms a night": the size alone.
[[nodiscard]] std::string slope_text(Figure figure, double per_night);
/// "panel's detection", "the tapper's transit".
[[nodiscard]] std::string owner_text(const TrendSeries& series);
/// "panel", "the tapper".
[[nodiscard]] std::string subject_text(const std::string& unit);
/// " on granite slab, with soak, at rig 2": what of these the history has several of.
[[nodiscard]] std::string where_text(const Trend& trend, const std::string& scenario,
                                     const std::string& rig, const std::string& surface);
/// "night of 2026-06-05", "nights of 2026-06-05 and 2026-06-09".
[[nodiscard]] std::string nights_text(std::span<const std::string> names);
/// The text with a capital first letter (ASCII).
[[nodiscard]] std::string capitalised(std::string text);
/// A finding of one run's night, its place filled in.
[[nodiscard]] TrendFinding finding_of(const TrendNight& night, FindingKind kind, Cause cause);

}  // namespace plexor::analysis::history
