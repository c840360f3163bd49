#pragma once

#include <cstdint>
#include <optional>

#include "base/pulse.hpp"
#include "rig/calibration.hpp"
#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// The plunger touches the surface.
struct Contact {
  base::Instant at;
  double speed_m_s = 0.0;
};

/// What one pulse makes the plunger do.
struct Stroke {
  base::Pulse actual;  ///< when the coil is really energised
  std::optional<Contact> first;
  std::optional<Contact> second;  ///< a re-strike
};

/// Pulse to contact: the calibration read backwards, plus scatter and scripted faults.
class Tapper {
 public:
  Tapper(rig::Calibration calibration, const TapperSettings& settings, std::uint64_t seed);

  /// The next pulse; it can't begin before `earliest`. Counts pulses: scatter
  /// and faults depend on the count alone.
  [[nodiscard]] Stroke strike(const base::Pulse& planned, base::Instant earliest);

  /// Speed at contact in m/s, nothing if so short a pulse does not land.
  [[nodiscard]] std::optional<double> speed_of(base::Duration on_time) const;

 private:
  [[nodiscard]] base::Duration transit_of(const base::Pulse& pulse) const;

  rig::Calibration calibration_;
  TapperSettings settings_;
  std::uint64_t seed_;
  std::uint32_t pulses_ = 0;
};

}  // namespace plexor::virtual_rig
