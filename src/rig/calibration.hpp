#pragma once

#include <string>
#include <vector>

#include "base/strike_speed.hpp"
#include "base/time.hpp"

namespace plexor::rig {

/// One calibrated drive level of the tapper.
struct CalibrationPoint {
  base::Duration on_time{};  ///< the drive: how long the coil is energised
  base::StrikeSpeed strike;  ///< speed at contact that it gives
  base::Duration transit{};  ///< energising to contact
};

/// Drive against strike speed and transit, below the first re-strike. Points in
/// rising speed; longer pulses strike faster. Between points: linear, in whole units
/// (on times below 10 s and speeds below 100 m/s keep the arithmetic in range).
struct Calibration {
  std::string date;                 ///< ISO 8601 day it was measured
  double coil_temperature_c = 0.0;  ///< conditions it was measured at
  double supply_v = 0.0;
  base::Duration transit_sd{};           ///< repeatability of the transit
  std::vector<CalibrationPoint> points;  ///< at least two

  [[nodiscard]] base::StrikeSpeed slowest() const { return points.front().strike; }
  [[nodiscard]] base::StrikeSpeed fastest() const { return points.back().strike; }

  /// The drive level for a strike speed within [slowest, fastest].
  /// Throws base::RigFault outside; check the plan's envelope beforehand.
  /// A calibration without two rising points is our own bug: std::logic_error.
  [[nodiscard]] CalibrationPoint at(base::StrikeSpeed strike) const;
};

}  // namespace plexor::rig
