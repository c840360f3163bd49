#pragma once

#include <compare>
#include <cstdint>
#include <optional>
#include <vector>

#include "base/time.hpp"

namespace plexor::physics {

/// A push solenoid with its driver, in front of a surface. SI units.
///
/// Coil: V = R i + d(L i)/dt with L(g) = leakage + K / (g + g0), g the gap that is
/// still open; so the motional term is in it, and the current dips before the
/// plunger seats. Pull: i^2/2 dL/dx, never above `saturation_n`. Plunger: mass,
/// spring, Coulomb friction; it stays at rest until the force exceeds it.
///
/// The default is the 12 V plunger of tests/reference/scipy_plunger_12V.csv:
/// assumed parameters, no measured coil.
///
/// Left out: eddy currents and iron hysteresis (both delay), residual magnetism
/// (holds on), the plunger's weight (a tapper that stands upright has it in its
/// preload), bearing tilt, spring surge.
struct Solenoid {
  double resistance_20c_ohm = 15.0;
  double leakage_h = 5.0e-3;
  double gap_inductance_h_m = 2.5e-4;  ///< K
  double closed_gap_m = 2.0e-3;        ///< g0: what the magnetic path is worth with no air left
  double stroke_m = 5.0e-3;            ///< from the back stop to the surface
  double gap_at_surface_m = 0.0;       ///< air gap left when the tip touches the surface
  double saturation_n = 28.65;         ///< 1.2 T on 50 mm^2
  double moving_mass_kg = 12.0e-3;
  double spring_preload_n = 0.3;
  double spring_rate_n_m = 60.0;
  double friction_n = 0.1;
  double source_ohm = 0.0;           ///< of supply and wiring: the voltage sags under load
  double clamp_v = 0.9;              ///< across the coil while its current decays, see coil.hpp
  double surface_restitution = 0.3;  ///< speed kept at the surface, 0 to below 1
  double back_restitution = 0.2;     ///< speed kept at the back stop, 0 to below 1
  double flag_m = 0.0;               ///< width of a flag on the plunger; 0: none
  double flag_to_surface_m = 0.0;    ///< left of the stroke when it leaves its light barrier
};

/// Everything besides the solenoid itself that a tap depends on. Whole numbers: an exact key.
struct TapConditions {
  base::Duration pulse{};       ///< time energised
  std::int64_t coil_mdegc = 0;  ///< winding, thousandths of a degree Celsius
  std::int64_t supply_mv = 0;   ///< open-circuit supply voltage

  auto operator<=>(const TapConditions&) const = default;
};

/// The tip touches the surface. Instants count from the beginning of the pulse.
struct TipContact {
  base::Duration at{};
  double speed_m_s = 0.0;
  double energy_j = 0.0;   ///< of the moving mass just before
  double current_a = 0.0;  ///< in the coil at that instant
};

/// The plunger comes home: a second, unwanted noise.
struct BackStopClick {
  base::Duration at{};
  double speed_m_s = 0.0;
};

/// The flag on the plunger passes its light barrier, on the way out. Instants count from the
/// beginning of the pulse.
struct FlagPassage {
  base::Duration in{};
  base::Duration out{};
};

/// What one pulse does, from switching on until everything is at rest.
struct TapSummary {
  std::optional<base::Duration> first_motion;  ///< 1 um away from the back stop
  std::optional<FlagPassage> flag;             ///< it passed whole
  /// The tap, then re-strikes: bounces, or the field pulling the plunger back
  /// because the pulse is too long. Empty: it never landed.
  std::vector<TipContact> contacts;
  std::optional<BackStopClick> click;  ///< first arrival at the back stop
  base::Duration settled{};            ///< no current and no motion from here on
  double peak_current_a = 0.0;         ///< before the first contact, or in all if there is none
  double copper_heat_j = 0.0;          ///< given to the winding

  [[nodiscard]] bool landed() const { return !contacts.empty(); }
};

struct TracePoint {
  double time_s = 0.0;
  double current_a = 0.0;
  double position_m = 0.0;
  double speed_m_s = 0.0;
  double pull_n = 0.0;
};

/// Every so many integration steps one point; events may put points between.
struct TapTrace {
  int every = 5;
  std::vector<TracePoint> points;
};

/// Length of an integration step; events are located inside a step. A quarter of it
/// changes no instant by a nanosecond and no speed by 1 um/s.
inline constexpr double tap_step_s = 20.0e-6;

/// Coil inductance with the plunger at a position between back stop and surface.
[[nodiscard]] double inductance_h(const Solenoid& solenoid, double position_m);

/// Integrates one tap from rest at the back stop (classical Runge-Kutta, fixed
/// steps, IEEE basic operations only: the same bits on every build). Adds to
/// `trace` if there is one. Gives up one second after the pulse; a solenoid that
/// isn't at rest by then has no friction and no working spring.
/// Throws std::logic_error for values that can't be integrated: a mass, inductance,
/// resistance or gap that isn't positive, restitution outside [0, 1), negative pulse.
[[nodiscard]] TapSummary tap(const Solenoid& solenoid, const TapConditions& conditions,
                             TapTrace* trace = nullptr);

}  // namespace plexor::physics
