#pragma once

#include <functional>
#include <optional>
#include <vector>

#include "rig/calibration.hpp"
#include "rig/rig_file.hpp"
#include "run/hand_taps.hpp"

namespace plexor::run {

/// All taps with one drive.
struct DriveLevel {
  base::Duration on_time{};
  std::vector<HandTap> taps;

  /// At least one landed more than once: the pulse is too long for this tapper.
  [[nodiscard]] bool re_strikes() const;
};

/// A level as a point: means of transit and speed, with their standard deviations.
/// Nothing unless each tap landed, passed the gate, and struck alike (within 10 %, as a
/// coefficient of variation): near the shortest pulse that lands, strikes are a matter of luck.
[[nodiscard]] std::optional<rig::CalibrationPoint> point_of(const DriveLevel& level,
                                                            const rig::SpeedGate& gate);

/// The levels below the first re-strike as points, in rising drive and strike speed: a
/// level whose mean speed does not rise is left out. The curve's coil temperature is the
/// mean over all taps. Levels come in rising drive. Fewer than two points: nothing.
[[nodiscard]] std::optional<rig::CalibrationCurve> curve_of(const std::vector<DriveLevel>& levels,
                                                            const rig::SpeedGate& gate,
                                                            double supply_v);

/// Standard deviation of the transit within the points, pooled over them.
[[nodiscard]] base::Duration pooled_transit_sd(const rig::CalibrationCurve& curve);

/// Measures drive against strike speed and transit on a rig with tip switch and speed gate.
class Calibrating {
 public:
  struct Setting {
    int taps_per_level = 8;
    base::Duration between_taps = std::chrono::milliseconds{400};  ///< plunger and surface at rest
  };
  /// Hears how much is done, 0 to 1.
  using Teller = std::function<void(double share)>;

  Calibrating(const rig::RigFile& rig, HandTapper& tapper, const Setting& setting, Teller tell);

  /// Looks for the drives that can be calibrated, one tap each: from the shortest pulse that
  /// lands, in small steps, to the first re-strike or to the last that can't break a limit.
  /// Nothing if it was stopped. Throws base::RigFault where no pulse lands, or where gate and
  /// contact disagree on what passed: nothing harder is given blindly.
  [[nodiscard]] std::optional<std::vector<base::Duration>> find_drives();
  /// Measures drives in turns, up and down, so that all of them find the coil equally warm.
  /// Nothing if it was stopped.
  [[nodiscard]] std::optional<std::vector<DriveLevel>> measure(
      const std::vector<base::Duration>& drives);
  /// Taps with `on_time` until the winding is at `winding_c`, or half an hour of that
  /// was not enough. False if it was stopped.
  [[nodiscard]] bool warm_to(double winding_c, base::Duration on_time);

 private:
  [[nodiscard]] std::optional<base::Duration> shortest_that_lands();
  void require_sight(const HandTap& tap);
  [[nodiscard]] bool next_may_break_a_limit(const std::vector<double>& strikes_m_s) const;

  const rig::RigFile& rig_;
  HandTapper& tapper_;
  Setting setting_;
  Teller tell_;
  int disagreements_ = 0;  ///< of gate and contact, in a row
};

}  // namespace plexor::run
