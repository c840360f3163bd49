#pragma once

#include "analysis/history/trend.hpp"

// Baselines, limits, marks and trends that are looked at; only for files of this folder.

namespace plexor::analysis::history {

/// Chooses the series' baseline and draws its control chart.
void draw_chart(TrendSeries& series);
/// Trends of each release and of all nights.
void look_along(const Trend& trend, TrendSeries& series);

}  // namespace plexor::analysis::history
