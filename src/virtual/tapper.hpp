#pragma once

#include <cstdint>
#include <optional>
#include <utility>
#include <vector>

#include "base/pulse.hpp"
#include "base/random.hpp"
#include "safety/thermal.hpp"
#include "virtual/physics/impact.hpp"
#include "virtual/physics/tap_cache.hpp"
#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// The plunger arrives somewhere.
struct Arrival {
  base::Instant at;
  double speed_m_s = 0.0;
};

/// What one pulse makes the plunger do.
struct Stroke {
  base::Pulse pulse;              ///< when the coil is really energised
  std::vector<Arrival> contacts;  ///< with the surface: the tap, then re-strikes
  std::optional<Arrival> click;   ///< against the back stop
  /// The flag leaves the speed gate, and for how long it covered it.
  std::optional<std::pair<base::Instant, base::Duration>> flag;
  double coil_c = 0.0;  ///< winding at the pulse's beginning
};

/// The solenoid under its pulses: each is integrated at the winding's temperature
/// of that moment, with scatter and scripted faults on top. A pulse that does not
/// find the plunger at rest at its stop does not land: the rig's min_rest must
/// leave it the time, and a plunger that sticks stays where it is.
class Tapper {
 public:
  /// `surface_restitution`: how much of its speed the plunger keeps at the surface.
  Tapper(const safety::CoilModel& coil, const TapperSettings& settings, double surface_restitution,
         std::uint64_t seed);

  /// When the next pulse that is asked for at `planned` really begins: scripted
  /// lateness goes by the count of pulses.
  [[nodiscard]] base::Instant begin_of(base::Instant planned);

  /// The pulse begins. Counts pulses: scatter and faults depend on the count alone.
  [[nodiscard]] Stroke strike(const base::Pulse& pulse);

  /// The pulse of the last strike ends at `at` already: what comes of it instead.
  [[nodiscard]] Stroke cut(base::Instant at);

  /// What the last strike's blow is worth against the mean one: 1 +- cv, truncated at 3 sd.
  [[nodiscard]] double blow_scatter(double cv) const;

 private:
  [[nodiscard]] Stroke stroke_of(const base::Pulse& pulse);
  [[nodiscard]] base::Duration shift_of(const base::Pulse& pulse) const;
  [[nodiscard]] double normal(base::Purpose purpose, std::uint32_t use) const;

  safety::CoilModel coil_;
  TapperSettings settings_;
  std::uint64_t seed_;
  physics::TapCache cache_;
  std::uint32_t begun_ = 0;
  std::uint32_t pulses_ = 0;
  base::Pulse pulse_{};  ///< the last
  safety::CoilState at_pulse_;
  safety::CoilState after_pulse_;
  base::Instant after_pulse_at_ = base::segment_start;
  base::Instant home_at_ = base::segment_start;      ///< when the last strike is over
  base::Instant was_home_at_ = base::segment_start;  ///< and the one before it
};

/// The blow of the plunger on the surface at a speed (physics/impact.hpp).
[[nodiscard]] physics::ImpactResult blow_of(const TapperSettings& tapper,
                                            const SurfaceSettings& surface, double speed_m_s);

/// What a stop of the tapper itself brings onto the surface through the frame.
[[nodiscard]] physics::ForcePulse click_of(const TapperSettings& tapper, double speed_m_s);

}  // namespace plexor::virtual_rig
