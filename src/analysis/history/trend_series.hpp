#pragma once

#include "analysis/history/trend.hpp"

// From runs to nights and series; only for files of this folder.

namespace plexor::analysis::history {

/// Nights and runs in order, missing nights among them, without anything said about them yet.
void gather_nights(Trend& trend, std::span<const RunFigures> runs);
/// All series of all units and tappers. Needs the nights, and which of them are left out.
void gather_series(Trend& trend);

/// Why a device's figures of one run do not count; empty: they do.
[[nodiscard]] std::string device_left_out(const DeviceFigures& device);
/// "panel was power-cycled twice and could not be heard for 1 h 20 min": empty where neither.
[[nodiscard]] std::string trouble_of(const DeviceFigures& device);

/// What is one figure's own resolution: no night is known better.
[[nodiscard]] double least_sd(Figure figure);
/// Kinds of figures.
[[nodiscard]] bool is_share(Figure figure);
[[nodiscard]] bool is_measured(Figure figure);

/// The places of the points that tests may use.
[[nodiscard]] std::vector<std::size_t> good_points(const TrendSeries& series);
[[nodiscard]] std::vector<Successes> successes_of(const TrendSeries& series,
                                                  std::span<const std::size_t> points);
[[nodiscard]] std::vector<Events> events_of(const TrendSeries& series,
                                            std::span<const std::size_t> points);
[[nodiscard]] std::vector<double> values_of(const TrendSeries& series,
                                            std::span<const std::size_t> points);

}  // namespace plexor::analysis::history
