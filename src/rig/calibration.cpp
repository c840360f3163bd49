#include "rig/calibration.hpp"

#include <fmt/format.h>

#include <algorithm>
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

}  // namespace

CalibrationPoint Calibration::at(base::StrikeSpeed strike) const {
  if (points.size() < 2) throw std::logic_error("a calibration needs two points or more");
  if (strike < slowest() || strike > fastest()) {
    throw base::RigFault(fmt::format(
        "a strike of {} m/s is outside the calibration of {}, which covers {} to {} m/s",
        base::to_m_s(strike), date, base::to_m_s(slowest()), base::to_m_s(fastest())));
  }
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

}  // namespace plexor::rig
