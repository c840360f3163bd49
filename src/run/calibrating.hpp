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

  /// Each landed once, and was seen by the speed gate.
  [[nodiscard]] bool is_clean() const;
  /// At least one landed more than once: the pulse is too long for this tapper.
  [[nodiscard]] bool re_strikes() const;
};

/// A clean level as a point: means of transit and speed, with their standard deviations.
[[nodiscard]] rig::CalibrationPoint point_of(const DriveLevel& level, double flag_m);

/// The clean levels as points, in rising drive and strike speed: a level whose mean
/// speed does not rise is left out. The curve's coil temperature is the mean over all its taps.
/// Levels come in rising drive. Fewer than two points: nothing.
[[nodiscard]] std::optional<rig::CalibrationCurve> curve_of(const std::vector<DriveLevel>& levels,
                                                            double flag_m, double supply_v);

/// Standard deviation of the transit within the points, pooled over them.
[[nodiscard]] base::Duration pooled_transit_sd(const rig::CalibrationCurve& curve);

/// Measures drive against strike speed and transit on a rig with tip switch and speed gate.
class Calibrating {
 public:
  struct Setting {
    int taps_per_level = 8;
    base::Duration between_taps = std::chrono::milliseconds{400};  ///< plunger and surface at rest
  };
  /// Hears of each level as it is done.
  using Teller = std::function<void(const DriveLevel&)>;

  Calibrating(const rig::RigFile& rig, HandTapper& tapper, const Setting& setting, Teller tell);

  /// From the shortest pulse that lands, in small steps, up to the first re-strike or
  /// to the last level whose successor could break a limit. Nothing if it was stopped.
  [[nodiscard]] std::optional<std::vector<DriveLevel>> sweep();
  /// The same levels once more, for instance with a warmer coil.
  [[nodiscard]] std::optional<std::vector<DriveLevel>> sweep_again(
      const std::vector<DriveLevel>& before);
  /// Taps with `on_time` until the winding is at `winding_c`, or half an hour of that
  /// was not enough. False if it was stopped.
  [[nodiscard]] bool warm_to(double winding_c, base::Duration on_time);

 private:
  [[nodiscard]] std::optional<base::Duration> shortest_that_lands();
  [[nodiscard]] std::optional<DriveLevel> measure(base::Duration on_time);
  [[nodiscard]] bool next_may_break_a_limit(const std::vector<DriveLevel>& levels) const;

  const rig::RigFile& rig_;
  HandTapper& tapper_;
  Setting setting_;
  Teller tell_;
};

}  // namespace plexor::run
