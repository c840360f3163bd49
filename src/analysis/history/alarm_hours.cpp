#include "analysis/history/alarm_hours.hpp"

#include <algorithm>
#include <map>
#include <tuple>

#include "analysis/comparing/multiplicity.hpp"
#include "analysis/comparing/rate_ratio.hpp"
#include "analysis/history/trend_series.hpp"

namespace plexor::analysis::history {
namespace {

/// A cluster is named of that many nights at least: one bad night is not a time of day.
constexpr std::size_t least_cluster_nights = 2;

void add_night(AlarmHours& all, const DeviceFigures& device) {
  for (std::size_t hour = 0; hour < all.hours.size(); ++hour) {
    const HourOfDay& one = device.by_hour.at(hour);
    all.hours[hour].quiet_hours += one.quiet_hours;
    all.hours[hour].incidents += one.incidents;
    all.hours[hour].nights += one.incidents > 0 ? 1 : 0;
  }
}

/// Each hour against all others together, upwards: given the total its share is binomial.
void test_hours(AlarmHours& all) {
  Events total{.count = 0, .exposure = 0.0};
  for (const AlarmHours::Hour& hour : all.hours) {
    total = {total.count + hour.incidents, total.exposure + hour.quiet_hours};
  }
  std::vector<double> p;
  std::vector<AlarmHours::Hour*> watched;
  for (AlarmHours::Hour& hour : all.hours) {
    const Events others{total.count - hour.incidents, total.exposure - hour.quiet_hours};
    if (hour.quiet_hours <= 0.0 || others.exposure < 1e-9) continue;
    watched.push_back(&hour);
    p.push_back(rate_ratio_exact({hour.incidents, hour.quiet_hours}, others).greater);
  }
  const std::vector<double> after = adjusted(p, Adjustment::holm);
  for (std::size_t i = 0; i < watched.size(); ++i) {
    watched[i]->p = watched[i]->nights < least_cluster_nights ? 1.0 : after[i];
  }
}

}  // namespace

void gather_hours(Trend& trend) {
  std::map<std::tuple<std::string, std::string, std::string, std::string>, std::size_t> places;
  for (const TrendNight& night : trend.nights) {
    if (night.missing || !night.left_out.empty()) continue;
    const RunFigures& run = night.run;
    for (const DeviceFigures& device : run.devices) {
      if (device.quiet_hours <= 0.0 || !device_left_out(device).empty()) continue;
      const auto [place, is_new] = places.try_emplace(
          std::tuple(device.name, run.scenario, run.rig, run.surface), trend.hours.size());
      if (is_new) {
        trend.hours.push_back({device.name, run.scenario, run.rig, run.surface, {}});
        trend.hours.back().hours.resize(device.by_hour.size());
      }
      add_night(trend.hours[place->second], device);
    }
  }
  for (AlarmHours& hours : trend.hours) test_hours(hours);
}

std::optional<double> smallest_p(const AlarmHours& hours) {
  const bool any =
      std::ranges::any_of(hours.hours, [](const auto& one) { return one.incidents > 0; });
  const auto watched =
      std::ranges::count_if(hours.hours, [](const auto& one) { return one.quiet_hours > 0.0; });
  if (!any || watched < 2) return std::nullopt;
  return std::ranges::min_element(hours.hours, {}, &AlarmHours::Hour::p)->p;
}

void name_hours(AlarmHours& hours, double alpha) {
  for (AlarmHours::Hour& hour : hours.hours) hour.named = hour.p <= alpha;
}

}  // namespace plexor::analysis::history
