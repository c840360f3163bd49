#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

#include "analysis/comparing/rate_ratio.hpp"
#include "analysis/comparing/tested.hpp"

// Control charts by the kind of figure, and the rules that mark a point. NIST/SEMATECH e-Handbook,
// sections 6.3.2 (variables: rules), 6.3.2.2 (individuals and moving range), 6.3.3.1 (counts),
// 6.3.3.2 (proportions); sections from memory. Limits of counts are exact: outside lies on each
// side at most what lies beyond 3 standard deviations of a normal figure. Wrong arguments throw
// std::domain_error.

namespace plexor::analysis {

/// One point's limits and how far it is off, in standard deviations of a normal figure with the
/// same tail (counts: half of the seen count's own probability on either side).
struct ChartLimits {
  double centre = 0.0;
  double lower = 0.0;
  double upper = 0.0;
  double off = 0.0;
};
/// p chart: shares about a known rate. Each n >= 1.
[[nodiscard]] std::vector<ChartLimits> share_limits(std::span<const Successes> points, double rate);
/// u chart: counts by exposure about a known rate.
[[nodiscard]] std::vector<ChartLimits> rate_limits(std::span<const Events> points, double rate);

/// Individuals chart: the level and the mean moving range of the baseline.
struct IndividualsBaseline {
  double level = 0.0;
  double mean_range = 0.0;  ///< of neighbours
  /// Mean range / 1.128, the range of two normal figures; `least_sd` where that is more.
  double sd = 0.0;
  double range_limit = 0.0;  ///< 3.267 mean ranges: the moving range chart's upper limit
};
/// At least 2 figures.
[[nodiscard]] IndividualsBaseline individuals_baseline(std::span<const double> figures,
                                                       double least_sd);
[[nodiscard]] std::vector<ChartLimits> individuals_limits(std::span<const double> points,
                                                          const IndividualsBaseline& baseline);

/// The handbook's rules of Western Electric and its two rules of trend.
enum class ChartRule : std::uint8_t {
  beyond_3,        ///< any point beyond 3 sigma
  two_beyond_2,    ///< 2 out of the last 3 points beyond 2 sigma, on one side
  four_beyond_1,   ///< 4 out of the last 5 beyond 1 sigma, on one side
  eight_one_side,  ///< 8 in a row on one side of the centre line
  six_rising,      ///< 6 in a row trending up or down
  alternating,     ///< 14 in a row alternating up and down
  moving_range,    ///< the moving range beyond its limit
  cusum,           ///< first point at which a cumulative sum passes its limit
  ewma,            ///< first point at which a weighted mean passes its limits
};
/// "beyond 3 sigma", "2 out of 3 beyond 2 sigma", ...
[[nodiscard]] std::string to_text(ChartRule rule);

/// A rule that the points meet at one of them.
struct ChartMark {
  std::size_t point = 0;
  ChartRule rule = ChartRule::beyond_3;
};
/// In order of the points. A rule of several points marks the last of them. A point on its exact
/// limit is not beyond it: `beyond_3` asks `off`.
[[nodiscard]] std::vector<ChartMark> marks_of(std::span<const double> off);

}  // namespace plexor::analysis
