#pragma once

#include "base/time.hpp"

namespace plexor::safety {

/// A solenoid's two thermal nodes: the small winding heats in seconds, the body
/// in minutes. A one-node model is optimistic for short hard bursts.
/// All values positive and finite, except the ambient temperature.
struct CoilModel {
  double supply_v = 0.0;
  double resistance_20c_ohm = 0.0;   ///< winding at 20 degC
  double winding_j_k = 0.0;          ///< heat capacity of the winding
  double body_j_k = 0.0;             ///< heat capacity of the body
  double winding_to_body_k_w = 0.0;  ///< thermal resistance
  double body_to_air_k_w = 0.0;      ///< thermal resistance
  double ambient_c = 0.0;
};

struct CoilState {
  double winding_c = 0.0;
  double body_c = 0.0;
};

/// Winding resistance at a temperature: R20 (234.5 + T) / (234.5 + 20), copper, IEC 60034-1.
[[nodiscard]] double resistance_ohm(const CoilModel& coil, double winding_c);

/// The state after `elapsed` with the coil on (constant voltage, resistance
/// following the temperature) or off. IEEE basic operations only, so equal on
/// every build; stable for every step.
///
/// Off: exact to rounding. On: in steps of at most 5 ms, each exact for the
/// power at its beginning. A winding that heats by d K in a step is given at
/// most d / (234.5 + T) too much power in it: below 0.1 % of the rise for coils
/// that heat by less than 50 K/s, and on the hot side as long as it heats.
[[nodiscard]] CoilState after(const CoilModel& coil, CoilState state, base::Duration elapsed,
                              bool on);

/// The state after `elapsed` with a constant heating power; exact to rounding.
/// A duration that is not positive changes nothing.
[[nodiscard]] CoilState after_at_power(const CoilModel& coil, CoilState state,
                                       base::Duration elapsed, double power_w);

/// At rest in air.
[[nodiscard]] CoilState cold(const CoilModel& coil);

}  // namespace plexor::safety
