#pragma once

#include "base/strike_speed.hpp"
#include "base/time.hpp"
#include "rig/rig_file.hpp"

namespace plexor::run {

/// How hard and how early the coil must be energised for a contact at a given
/// instant and speed: the calibration at the coil's temperature and the rig's
/// supply, its transit corrected by what contacts show.
class Aim {
 public:
  /// The calibration is an old friend: contacts correct it slowly and by no more than this.
  static constexpr base::Duration most_correction = std::chrono::milliseconds{1};

  explicit Aim(const rig::RigFile& rig) : rig_(rig) {}

  /// The drive for a strike with the winding at `winding_c`. Throws as Calibration::at;
  /// the rig must be calibrated.
  [[nodiscard]] rig::CalibrationPoint drive(base::StrikeSpeed strike, double winding_c) const;

  /// A tap that was aimed with a transit of `expected` took `measured` from its real
  /// beginning to its contact. A sixteenth of the difference is believed.
  void learn(base::Duration expected, base::Duration measured);

  /// What is added to the calibrated transit by now.
  [[nodiscard]] base::Duration correction() const { return correction_; }

 private:
  const rig::RigFile& rig_;
  base::Duration correction_{};
};

}  // namespace plexor::run
