#include "virtual/peak_detector.hpp"

#include <algorithm>

namespace plexor::virtual_rig {

PeakDetector::PeakDetector(const FirmwareSettings& settings)
    : window_(static_cast<std::size_t>(settings.window)),
      count_(settings.window),
      influence_(static_cast<std::int64_t>(settings.influence * 256.0 + 0.5)),
      k_squared_(settings.k_sigma * settings.k_sigma) {
  // A silent line quantises to a deviation of 0, and any step would be a peak:
  // the deviation counts as 1 LSB at least.
  const double least_lsb = std::max(settings.min_lsb, settings.k_sigma);
  const double least = least_lsb * 16.0 * static_cast<double>(count_);
  least_squared_ = least * least;
}

}  // namespace plexor::virtual_rig
