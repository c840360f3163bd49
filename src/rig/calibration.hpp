#pragma once

#include <cstdint>
#include <string>
#include <string_view>
#include <vector>

#include "base/strike_speed.hpp"
#include "base/time.hpp"

namespace plexor::rig {

/// How well a drive level was measured: for people. 0 where nobody knows.
struct Repeatability {
  std::int64_t taps = 0;
  base::Duration transit_sd{};
  double strike_sd_m_s = 0.0;
};

/// One calibrated drive level of the tapper.
struct CalibrationPoint {
  base::Duration on_time{};  ///< the drive: how long the coil is energised
  base::StrikeSpeed strike;  ///< speed at contact that it gives
  base::Duration transit{};  ///< energising to contact
  Repeatability repeatability{};
};

/// What a drive's effect depends on. Whole numbers: plans are equal on every machine.
struct CoilConditions {
  std::int64_t coil_mdegc = 0;  ///< winding, thousandths of a degree Celsius
  std::int64_t supply_mv = 0;
};

/// Drive against strike speed and transit under one set of conditions, below the
/// first re-strike. Points in rising speed; longer pulses strike faster.
struct CalibrationCurve {
  CoilConditions conditions;
  std::vector<CalibrationPoint> points;  ///< at least two

  [[nodiscard]] base::StrikeSpeed slowest() const { return points.front().strike; }
  [[nodiscard]] base::StrikeSpeed fastest() const { return points.back().strike; }

  /// The drive level for a strike speed within [slowest, fastest], linear between
  /// points, in whole units (on times below 10 s and speeds below 100 m/s keep the
  /// arithmetic in range). A curve without two rising points is our own bug: std::logic_error.
  [[nodiscard]] CalibrationPoint at(base::StrikeSpeed strike) const;
};

/// The tapper as it was measured: drive x coil temperature x supply.
struct Calibration {
  std::string date;                      ///< ISO 8601 day it was measured
  base::Duration transit_sd{};           ///< repeatability of the transit
  std::vector<CalibrationCurve> curves;  ///< at least one, by rising supply, then temperature

  /// What every curve covers.
  [[nodiscard]] base::StrikeSpeed slowest() const;
  [[nodiscard]] base::StrikeSpeed fastest() const;

  /// The drive level for a strike speed within [slowest, fastest]: linear in the
  /// temperature between the curves of one supply, then in the supply; beyond the
  /// outermost curve, that curve. Throws base::RigFault for a strike outside;
  /// check the plan's envelope beforehand. Without curves: std::logic_error.
  [[nodiscard]] CalibrationPoint at(base::StrikeSpeed strike,
                                    const CoilConditions& conditions) const;
};

/// Reads a calibration file: the table [calibration], as in a rig file. Throws base::InputError.
[[nodiscard]] Calibration parse_calibration(std::string_view text, const std::string& file);

/// The same as text, to be kept in a file; parse_calibration reads it back.
[[nodiscard]] std::string to_toml(const Calibration& calibration);

}  // namespace plexor::rig
