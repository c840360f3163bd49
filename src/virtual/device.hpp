#pragma once

#include <optional>

#include "base/event.hpp"
#include "base/time.hpp"
#include "virtual/sensor.hpp"

namespace plexor::virtual_rig {

/// A device under test as the virtual rig drives it. Everything is told in time
/// order; nothing is told beyond the instant up to which time has run.
class SimulatedDevice {
 public:
  virtual ~SimulatedDevice() = default;
  /// The plunger touched the surface.
  virtual void feel(base::Instant contact) = 0;
  /// The next samples of the sensor.
  virtual void hear(const Sensor::Stretch& stretch) = 0;
  /// It starts anew: whatever is on its mind is gone.
  virtual void restart() = 0;
  /// When the device will next make up its mind; Instant::max() if nothing is on it.
  [[nodiscard]] virtual base::Instant decides_at() const = 0;
  /// Makes up its mind at decides_at(). A report arrives at that instant or later.
  [[nodiscard]] virtual std::optional<base::Event> decide() = 0;
};

}  // namespace plexor::virtual_rig
