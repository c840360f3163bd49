#include "rig/calibration.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <optional>
#include <stdexcept>

#include "base/error.hpp"

namespace plexor::rig {

namespace {

/// `share` / `whole` of the way from `a` to `b`, rounded to the nearest nanosecond.
base::Duration between(base::Duration a, base::Duration b, std::int64_t share, std::int64_t whole) {
  const std::int64_t product = (b - a).count() * share;
  const std::int64_t half = product < 0 ? -whole / 2 : whole / 2;
  return a + base::Duration{(product + half) / whole};
}

/// A drive that is known at one value of a condition.
struct Known {
  std::int64_t value = 0;
  CalibrationPoint drive;
};

CalibrationPoint between(const Known& low, const Known& high, std::int64_t value) {
  const std::int64_t whole = high.value - low.value;
  const std::int64_t share =
      std::clamp(value - low.value, std::int64_t{0}, std::max(whole, std::int64_t{0}));
  if (whole <= 0 || share == 0) return low.drive;
  return {between(low.drive.on_time, high.drive.on_time, share, whole), low.drive.strike,
          between(low.drive.transit, high.drive.transit, share, whole)};
}

/// Between the two neighbours of `value`; at an end, that end. `known` is not empty and rises.
CalibrationPoint among(const std::vector<Known>& known, std::int64_t value) {
  const auto above = std::find_if(known.begin(), known.end(),
                                  [&](const Known& one) { return one.value >= value; });
  if (above == known.begin()) return above->drive;
  if (above == known.end()) return known.back().drive;
  return between(*(above - 1), *above, value);
}

}  // namespace

CalibrationPoint CalibrationCurve::at(base::StrikeSpeed strike) const {
  if (points.size() < 2) throw std::logic_error("a calibration curve needs two points or more");
  const auto above =
      std::find_if(points.begin() + 1, points.end() - 1,
                   [&](const CalibrationPoint& point) { return point.strike >= strike; });
  const CalibrationPoint& low = *(above - 1);
  const CalibrationPoint& high = *above;
  const std::int64_t whole = high.strike.um_s - low.strike.um_s;
  if (whole <= 0) throw std::logic_error("calibration points that do not rise");
  const std::int64_t share = strike.um_s - low.strike.um_s;
  return {between(low.on_time, high.on_time, share, whole), strike,
          between(low.transit, high.transit, share, whole)};
}

base::StrikeSpeed Calibration::slowest() const {
  base::StrikeSpeed slowest = curves.front().slowest();
  for (const CalibrationCurve& curve : curves) slowest = std::max(slowest, curve.slowest());
  return slowest;
}

base::StrikeSpeed Calibration::fastest() const {
  base::StrikeSpeed fastest = curves.front().fastest();
  for (const CalibrationCurve& curve : curves) fastest = std::min(fastest, curve.fastest());
  return fastest;
}

CalibrationPoint Calibration::at(base::StrikeSpeed strike, const CoilConditions& conditions) const {
  if (curves.empty()) throw std::logic_error("a calibration needs a curve");
  if (strike < slowest() || strike > fastest()) {
    throw base::RigFault(fmt::format(
        "a strike of {} m/s is outside the calibration of {}, which covers {} to {} m/s",
        base::to_m_s(strike), date, base::to_m_s(slowest()), base::to_m_s(fastest())));
  }
  std::vector<Known> by_supply;
  for (auto curve = curves.begin(); curve != curves.end();) {
    const std::int64_t supply_mv = curve->conditions.supply_mv;
    std::vector<Known> by_temperature;
    for (; curve != curves.end() && curve->conditions.supply_mv == supply_mv; ++curve) {
      by_temperature.push_back({curve->conditions.coil_mdegc, curve->at(strike)});
    }
    by_supply.push_back({supply_mv, among(by_temperature, conditions.coil_mdegc)});
  }
  return among(by_supply, conditions.supply_mv);
}

}  // namespace plexor::rig
