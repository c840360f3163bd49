#include "analysis/history/control_chart.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "analysis/history/trend_series.hpp"
#include "analysis/number_text.hpp"
#include "analysis/trend/control_charts.hpp"

namespace plexor::analysis::history {
namespace {

// Usual choices of the handbook, in standard deviations: 6.3.2.3 (h of 4 or 5, k of 1/2) and
// 6.3.2.4 (lambda of 0.2 to 0.3, 3 sigma).
constexpr double cusum_slack = 0.5;
constexpr double cusum_decision = 5.0;
constexpr double ewma_weight = 0.2;
constexpr double ewma_limit = 3.0;

constexpr std::size_t most_baseline = 7;
constexpr std::size_t least_baseline = 5;

void choose_baseline(TrendSeries& series) {
  const std::vector<std::size_t> good = good_points(series);
  std::vector<std::size_t> first;
  for (const std::size_t i : good) {
    if (series.points[i].release != series.points[good.front()].release) break;
    if (first.size() < most_baseline) first.push_back(i);
  }
  const bool enough = first.size() >= least_baseline;
  series.baseline_points = enough ? first : good;
  const std::string& release = good.empty() ? series.unit : series.points[good.front()].release;
  if (enough && !release.empty()) {
    series.baseline = fmt::format("the first {} good nights of release {}", first.size(), release);
  } else if (enough) {
    series.baseline = fmt::format("the first {} good nights", first.size());
  } else {
    series.baseline = "all " + counted(good.size(), "good night");
  }
}

/// All counts of the baseline together.
Counts baseline_counts(const TrendSeries& series) {
  Counts all;
  for (const std::size_t i : series.baseline_points) {
    all = {all.x + series.points[i].counts.x, all.n + series.points[i].counts.n};
  }
  return all;
}

std::vector<ChartLimits> limits_of(TrendSeries& series, const std::vector<std::size_t>& points) {
  if (is_share(series.figure)) {
    const Counts all = baseline_counts(series);
    return share_limits(successes_of(series, points),
                        static_cast<double>(all.x) / static_cast<double>(all.n));
  }
  if (!is_measured(series.figure)) {
    double hours = 0.0;
    for (const std::size_t i : series.baseline_points) hours += series.points[i].hours;
    return rate_limits(events_of(series, points),
                       static_cast<double>(baseline_counts(series).x) / hours);
  }
  const IndividualsBaseline baseline =
      individuals_baseline(values_of(series, series.baseline_points), least_sd(series.figure));
  series.range_limit = baseline.range_limit;
  return individuals_limits(values_of(series, points), baseline);
}

void put_mark(TrendPoint& point, ChartRule rule) { point.marks.push_back(rule); }

/// Rules of single points, of rows, and of sums, over the good points alone: a night known to be
/// broken is shown, and is no signal.
void mark_points(TrendSeries& series, const std::vector<std::size_t>& good) {
  std::vector<double> off;
  off.reserve(good.size());
  for (const std::size_t i : good) off.push_back(series.points[i].limits.off);
  for (const ChartMark& mark : marks_of(off)) put_mark(series.points[good[mark.point]], mark.rule);
  const Cusum sums = cusum(off, 0.0, cusum_slack, cusum_decision);
  const Ewma means = ewma(off, 0.0, 1.0, ewma_weight, ewma_limit);
  for (std::size_t i = 0; i < good.size(); ++i) {
    TrendPoint& point = series.points[good[i]];
    point.cusum_high = sums.high[i];
    point.cusum_low = sums.low[i];
    point.ewma = means.means[i];
    if (!series.range_limit || i == 0) continue;
    const double range = std::abs(point.value - series.points[good[i - 1]].value);
    if (range > *series.range_limit) put_mark(point, ChartRule::moving_range);
  }
  if (sums.first_signal) put_mark(series.points[good[*sums.first_signal]], ChartRule::cusum);
  if (means.first_signal) put_mark(series.points[good[*means.first_signal]], ChartRule::ewma);
}

/// Times of alarms on the watch's own clock: those of a night evenly within its quiet hours.
std::optional<LaplaceTrend> laplace_of(const std::vector<Events>& nights) {
  std::vector<double> times;
  double watched = 0.0;
  for (const Events& night : nights) {
    const auto count = static_cast<double>(night.count);
    for (double k = 0.5; k < count; k += 1.0) times.push_back(watched + k / count * night.exposure);
    watched += night.exposure;
  }
  return laplace_trend(times, watched, Truncation::time);
}

/// Nights as times that rise even where a night has several runs.
std::vector<double> times_of(const Trend& trend, const TrendSeries& series,
                             const std::vector<std::size_t>& points) {
  std::vector<double> times;
  for (const std::size_t i : points) {
    const auto day = static_cast<double>(trend.nights[series.points[i].night].day);
    const bool again = !times.empty() && times.back() >= day;
    constexpr double later_that_night = 1e-3;
    times.push_back(again ? times.back() + later_that_night : day);
  }
  return times;
}

TrendLook look_at(const Trend& trend, const TrendSeries& series, std::string stretch,
                  const std::vector<std::size_t>& points) {
  const std::vector<double> values = values_of(series, points);
  TrendLook look;
  look.stretch = std::move(stretch);
  look.nights = points.size();
  look.kendall = mann_kendall(values);
  look.sen = sen_slope(times_of(trend, series, points), values);
  if (series.figure == Figure::alarms) look.laplace = laplace_of(events_of(series, points));
  return look;
}

}  // namespace

void draw_chart(TrendSeries& series) {
  choose_baseline(series);
  const std::vector<std::size_t> good = good_points(series);
  if (good.size() < 2) return;
  std::vector<std::size_t> every;
  for (std::size_t i = 0; i < series.points.size(); ++i) {
    if (std::isfinite(series.points[i].value)) every.push_back(i);
  }
  const std::vector<ChartLimits> limits = limits_of(series, every);
  for (std::size_t i = 0; i < every.size(); ++i) series.points[every[i]].limits = limits[i];
  mark_points(series, good);
}

void look_along(const Trend& trend, TrendSeries& series) {
  constexpr std::size_t least_looked_at = 4;
  const std::vector<std::size_t> good = good_points(series);
  if (good.size() >= least_looked_at) {
    series.looks.push_back(look_at(trend, series, "all nights", good));
  }
  std::vector<std::size_t> of_release;
  for (std::size_t i = 0; i < good.size(); ++i) {
    const std::string& release = series.points[good[i]].release;
    of_release.push_back(good[i]);
    const bool ends = i + 1 == good.size() || series.points[good[i + 1]].release != release;
    if (!ends) continue;
    const bool is_all = of_release.size() == good.size();
    if (!release.empty() && !is_all && of_release.size() >= least_looked_at) {
      series.looks.push_back(look_at(trend, series, "release " + release, of_release));
    }
    of_release.clear();
  }
}

}  // namespace plexor::analysis::history
