#pragma once

#include <cstddef>
#include <cstdint>
#include <vector>

#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// Flags samples that stand out from the running mean of the samples before
/// them (moving mean and deviation with threshold k, minimum and influence).
/// The tested sample is not in its own window. All sums are whole numbers.
class PeakDetector {
 public:
  explicit PeakDetector(const FirmwareSettings& settings);

  /// Takes the next code; true if it is flagged. Never while the first window fills.
  [[nodiscard]] bool flags(std::int32_t code);

 private:
  void enter(std::int64_t value);

  std::vector<std::int64_t> window_;  ///< the last entries, oldest at place_
  std::size_t place_ = 0;
  std::size_t filled_ = 0;
  std::int64_t count_;
  std::int64_t sum_ = 0;
  std::int64_t sum_of_squares_ = 0;
  std::int64_t previous_ = 0;
  std::int64_t influence_;  ///< in 1/256
  double k_squared_;
  double least_squared_;  ///< what a flagged offset's square must exceed at least
};

// Here, not in a source file: it runs for every sample, and must be inlined.

inline void PeakDetector::enter(std::int64_t value) {
  std::int64_t& oldest = window_[place_];
  sum_ += value - oldest;
  sum_of_squares_ += value * value - oldest * oldest;
  oldest = value;
  if (++place_ == window_.size()) place_ = 0;
  previous_ = value;
}

inline bool PeakDetector::flags(std::int32_t code) {
  constexpr int fraction_bits = 4;  // so that a weak influence is not rounded away
  const std::int64_t value = std::int64_t{code} << fraction_bits;
  if (filled_ < window_.size()) {
    ++filled_;
    enter(value);
    return false;
  }
  // Both sides times count squared: no division, no root.
  const std::int64_t offset = count_ * value - sum_;
  const std::int64_t spread = count_ * sum_of_squares_ - sum_ * sum_;
  const auto offset_squared = static_cast<double>(offset * offset);
  const bool flagged =
      offset_squared > k_squared_ * static_cast<double>(spread) && offset_squared > least_squared_;
  enter(flagged ? previous_ + influence_ * (value - previous_) / 256 : value);
  return flagged;
}

}  // namespace plexor::virtual_rig
