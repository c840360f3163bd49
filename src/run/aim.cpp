#include "run/aim.hpp"

#include <algorithm>
#include <cmath>

namespace plexor::run {

namespace {

constexpr std::int64_t memory_taps = 16;

std::int64_t thousandths(double value) {
  return static_cast<std::int64_t>(std::floor(value * 1000.0 + 0.5));
}

}  // namespace

rig::CalibrationPoint Aim::drive(base::StrikeSpeed strike, double winding_c) const {
  rig::CalibrationPoint drive = rig_.calibration.value().at(
      strike, {thousandths(winding_c), thousandths(rig_.coil.supply_v)});
  drive.transit += correction_;
  return drive;
}

void Aim::learn(base::Duration expected, base::Duration measured) {
  correction_ = std::clamp(correction_ + (measured - expected) / memory_taps, -most_correction,
                           most_correction);
}

}  // namespace plexor::run
