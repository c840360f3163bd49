#pragma once

#include "base/time.hpp"

namespace plexor::safety {

/// A solenoid's two thermal nodes: the small winding heats in seconds, the body
/// in minutes. A one-node model is optimistic for short hard bursts.
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
/// following the temperature) or off. Implicit steps of IEEE basic operations
/// only, so equal on every build; unconditionally stable.
[[nodiscard]] CoilState after(const CoilModel& coil, CoilState state, base::Duration elapsed,
                              bool on);

/// At rest in air.
[[nodiscard]] CoilState cold(const CoilModel& coil);

}  // namespace plexor::safety
