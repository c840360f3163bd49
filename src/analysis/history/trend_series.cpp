#include "analysis/history/trend_series.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <tuple>

#include "analysis/history/trend_words.hpp"
#include "analysis/number_text.hpp"
#include "base/calendar.hpp"

namespace plexor::analysis::history {
namespace {

constexpr double interval_confidence = 0.95;

std::int64_t day_number(const std::string& night) {
  return base::day_of(night).value().time_since_epoch().count();
}

/// The days that a history is about, those with a run among them.
struct Days {
  std::int64_t first = 0;
  std::int64_t last = 0;
  std::set<std::int64_t> with_run;
};

/// From the first to the last night asked for, or else with a run.
Days days_of(const std::set<std::int64_t>& with_run, const TrendSettings& settings) {
  Days days{.first = *with_run.begin(), .last = *with_run.rbegin(), .with_run = with_run};
  if (!settings.first_night.empty()) {
    days.first = std::min(days.first, day_number(settings.first_night));
  }
  if (!settings.last_night.empty()) {
    days.last = std::max(days.last, day_number(settings.last_night));
  }
  return days;
}

/// Days of the week (by day number modulo 7) on which there is never a run, though there were at
/// least two chances: the timer does not run on them.
std::set<std::int64_t> days_of_rest(const Days& days) {
  std::map<std::int64_t, std::size_t> without;
  for (std::int64_t day = days.first; day <= days.last; ++day) {
    if (!days.with_run.contains(day)) ++without[day % 7];
  }
  std::set<std::int64_t> rest;
  for (const auto& [weekday, times] : without) {
    const bool never = std::ranges::none_of(
        days.with_run, [&, weekday = weekday](auto day) { return day % 7 == weekday; });
    if (never && times >= 2) rest.insert(weekday);
  }
  return rest;
}

/// Nights without a run in a history that is nightly: most nights between first and last have one.
std::vector<std::int64_t> missing_days(const Days& days) {
  std::vector<std::int64_t> missing;
  if (days.with_run.size() < 3) return missing;
  const std::set<std::int64_t> rest = days_of_rest(days);
  for (std::int64_t day = days.first; day <= days.last; ++day) {
    if (!days.with_run.contains(day) && !rest.contains(day % 7)) missing.push_back(day);
  }
  if (missing.size() * 2 > days.with_run.size()) missing.clear();
  return missing;
}

/// Names tell several runs of one rig's night apart.
void name_nights(std::vector<TrendNight>& nights) {
  std::map<std::pair<std::string, std::string>, std::size_t> times;
  for (TrendNight& night : nights) {
    const std::size_t time = ++times[{night.run.rig, night.date}];
    night.name = time == 1 ? night.date : fmt::format("{} ({})", night.date, time);
  }
}

std::string left_out_reason(const RunFigures& run) {
  for (const Hole& hole : run.holes) {
    if (hole.cause == Hole::Cause::reboot) return "a power cut or restart";
    if (hole.cause == Hole::Cause::killed) return "the program was ended";
    if (hole.cause == Hole::Cause::fault) return "a fault of the rig";
  }
  if (run.ended == "fault") return "ended by a fault";
  if (run.ended == "too-many-voids") return "too many voids";
  if (run.ended == "interrupted") return "interrupted";
  return run.ended.empty() ? "without an end" : "";
}

/// What makes one series.
using SeriesKey = std::tuple<std::string, std::string, std::string, std::string, Figure>;

/// Collects points into series, in the order in which these first appear.
class SeriesSorter {
 public:
  explicit SeriesSorter(std::vector<TrendSeries>& series) : series_(series) {}

  void add(const RunFigures& run, const std::string& unit, Figure figure, TrendPoint point) {
    const SeriesKey key{unit, run.scenario, run.rig, run.surface, figure};
    const auto [place, is_new] = places_.try_emplace(key, series_.size());
    if (is_new) {
      TrendSeries one;
      one.figure = figure;
      one.unit = unit;
      one.scenario = run.scenario;
      one.rig = run.rig;
      one.surface = run.surface;
      series_.push_back(std::move(one));
    }
    series_[place->second].points.push_back(std::move(point));
  }

 private:
  std::vector<TrendSeries>& series_;
  std::map<SeriesKey, std::size_t> places_;
};

void add_share(SeriesSorter& sorter, const RunFigures& run, const DeviceFigures& device,
               Figure figure, const Counts& counts, TrendPoint point) {
  if (counts.n == 0) return;
  point.counts = counts;
  point.value = static_cast<double>(counts.x) / static_cast<double>(counts.n);
  point.interval = wilson(counts.x, counts.n, interval_confidence, Sides::two);
  sorter.add(run, device.name, figure, std::move(point));
}

void add_measured(SeriesSorter& sorter, const RunFigures& run, const std::string& unit,
                  Figure figure, const std::optional<double>& value, TrendPoint point) {
  if (!value) return;
  point.value = *value;
  if (!std::isfinite(*value) && point.left_out.empty()) point.left_out = "not heard often enough";
  sorter.add(run, unit, figure, std::move(point));
}

void add_device(SeriesSorter& sorter, const RunFigures& run, const DeviceFigures& device,
                TrendPoint point) {
  point.release = device.release;
  if (point.left_out.empty()) point.left_out = device_left_out(device);
  add_share(sorter, run, device, Figure::detection, device.detected, point);
  add_share(sorter, run, device, Figure::false_responses, device.false_responses, point);
  add_share(sorter, run, device, Figure::confusions, device.confused, point);
  if (device.quiet_hours > 0.0) {
    TrendPoint alarms = point;
    alarms.counts = {.x = device.incidents, .n = device.incidents};
    alarms.hours = device.quiet_hours;
    alarms.value = static_cast<double>(device.incidents) / device.quiet_hours;
    alarms.interval =
        garwood(device.incidents, device.quiet_hours, interval_confidence, Sides::two);
    sorter.add(run, device.name, Figure::alarms, std::move(alarms));
  }
  add_measured(sorter, run, device.name, Figure::median, device.median_ms, point);
  add_measured(sorter, run, device.name, Figure::p95, device.p95_ms, point);
}

}  // namespace

void gather_nights(Trend& trend, std::span<const RunFigures> runs) {
  std::size_t lifted = 0;
  std::size_t undated = 0;
  std::map<std::string, std::set<std::int64_t>> days_of_rigs;
  for (const RunFigures& run : runs) {
    const auto day = base::day_of(run.night);
    lifted += run.lifted ? 1U : 0U;
    undated += !run.lifted && !day ? 1U : 0U;
    if (run.lifted || !day) continue;
    days_of_rigs[run.rig].insert(day_number(run.night));
    trend.simulated = trend.simulated || run.simulated;
    TrendNight night;
    night.date = run.night;
    night.day = day_number(run.night);
    night.left_out = left_out_reason(run);
    night.run = run;
    trend.nights.push_back(std::move(night));
  }
  for (const auto& [rig, days] : days_of_rigs) {
    if (!trend.settings.tells_missing) break;
    for (const std::int64_t day : missing_days(days_of(days, trend.settings))) {
      TrendNight night;
      night.date = base::date_text(std::chrono::sys_days{std::chrono::days{day}});
      night.day = day;
      night.missing = true;
      night.run.rig = rig;
      trend.nights.push_back(std::move(night));
    }
  }
  std::ranges::stable_sort(trend.nights, {}, &TrendNight::day);
  name_nights(trend.nights);
  const std::int64_t first = trend.nights.empty() ? 0 : trend.nights.front().day;
  for (TrendNight& night : trend.nights) night.day -= first;
  if (lifted > 0) {
    trend.remarks.push_back(counted(lifted, "run") + " of a lifted tapper left out");
  }
  if (undated > 0) {
    trend.remarks.push_back(counted(undated, "run") + " left out, whose night is not known");
  }
}

void gather_series(Trend& trend) {
  SeriesSorter sorter(trend.series);
  for (std::size_t i = 0; i < trend.nights.size(); ++i) {
    const TrendNight& night = trend.nights[i];
    if (night.missing) continue;
    TrendPoint point;
    point.night = i;
    point.left_out = night.left_out;
    for (const DeviceFigures& device : night.run.devices) {
      add_device(sorter, night.run, device, point);
    }
    add_measured(sorter, night.run, "", Figure::transit, night.run.transit_ms, point);
    add_measured(sorter, night.run, "", Figure::temperature, night.run.coil_c, point);
  }
}

std::string trouble_of(const DeviceFigures& device) {
  constexpr double a_while_s = 60.0;  // a listener may look for its device again for seconds
  std::string text;
  if (device.power_cycles > 0) {
    text = fmt::format("was power-cycled {}", times_text(device.power_cycles));
  }
  if (device.unheard_s > a_while_s) {
    text += fmt::format("{}could not be heard for {} in all", text.empty() ? "" : " and ",
                        length_text(device.unheard_s));
  }
  return text;
}

std::string device_left_out(const DeviceFigures& device) {
  return trouble_of(device).empty() ? "" : "the device was broken";
}

double least_sd(Figure figure) {
  if (figure == Figure::transit) return 0.005;
  return 0.1;  // ms of latency, degrees of temperature
}

bool is_measured(Figure figure) { return figure >= Figure::median; }

bool is_share(Figure figure) { return figure < Figure::alarms; }

std::vector<std::size_t> good_points(const TrendSeries& series) {
  std::vector<std::size_t> good;
  for (std::size_t i = 0; i < series.points.size(); ++i) {
    if (series.points[i].left_out.empty()) good.push_back(i);
  }
  return good;
}

std::vector<Successes> successes_of(const TrendSeries& series,
                                    std::span<const std::size_t> points) {
  std::vector<Successes> all;
  for (const std::size_t i : points) {
    all.push_back({.x = series.points[i].counts.x, .n = series.points[i].counts.n});
  }
  return all;
}

std::vector<Events> events_of(const TrendSeries& series, std::span<const std::size_t> points) {
  std::vector<Events> all;
  for (const std::size_t i : points) {
    all.push_back({.count = series.points[i].counts.x, .exposure = series.points[i].hours});
  }
  return all;
}

std::vector<double> values_of(const TrendSeries& series, std::span<const std::size_t> points) {
  std::vector<double> all;
  for (const std::size_t i : points) all.push_back(series.points[i].value);
  return all;
}

}  // namespace plexor::analysis::history
