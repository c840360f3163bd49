#pragma once

#include <optional>

#include "analysis/history/trend.hpp"

// False alarms against the hour of the day; only for files of this folder.

namespace plexor::analysis::history {

/// Sums of all units' hours over the nights that count, and the p of each hour.
void gather_hours(Trend& trend);
/// The smallest adjusted p of the 24; nothing without alarms, or with all quiet in one hour.
[[nodiscard]] std::optional<double> smallest_p(const AlarmHours& hours);
/// Marks the hours that are beyond chance.
void name_hours(AlarmHours& hours, double alpha);

}  // namespace plexor::analysis::history
