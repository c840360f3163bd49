#pragma once

#include <cstddef>
#include <span>
#include <vector>

#include "base/time.hpp"
#include "virtual/physics/impact.hpp"
#include "virtual/ringing.hpp"
#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// The plate under blows: what charge its ringing brings onto the disc.
///
/// A sum of the plate's modes, so that travel time and what distance costs are
/// in it as far as these modes go. A blow acts at the middle of its force pulse
/// with that pulse's spectrum; until then its contact is silent.
class Surface {
 public:
  /// Blows come at `spots`. Modes fall silent below `silence_c` of charge.
  Surface(const SurfaceSettings& surface, const DiscSettings& disc,
          std::span<const physics::Spot> spots, base::Duration sample_period, double silence_c);

  /// A blow at spots[spot] that has its middle `before_next` ahead of the next sample.
  void strike(std::size_t spot, const physics::ForcePulse& blow, base::Duration before_next);

  [[nodiscard]] bool silent() const;

  /// Adds the charge at the next samples, in coulomb.
  void add_to(std::span<double> charge_c);

 private:
  struct Mode {
    double hz;
    std::vector<Rotor> charge_per_impulse;  ///< for each spot
    Ringing ringing;
  };
  std::vector<Mode> modes_;
};

}  // namespace plexor::virtual_rig
