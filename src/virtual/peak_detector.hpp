#pragma once

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// Flags samples that stand out from the running mean of the samples before
/// them (moving mean and deviation with threshold k, minimum and influence).
/// The tested sample is not in its own window. All sums are whole numbers.
class PeakDetector {
 public:
  /// Codes of a quiet line lie around `mid_rail`.
  PeakDetector(const PeakSettings& settings, std::int32_t mid_rail);

  /// Takes the next code; true if it is flagged. Never while the first window fills.
  [[nodiscard]] bool flags(std::int32_t code);

  /// Takes the next codes, and calls `flagged` with the index of each that is
  /// flagged: exactly those that flags() would. Runs that can't hold a flagged
  /// sample, because even their outermost one would not do, go in as a whole.
  template <typename Flagged>
  void take(std::span<const std::int32_t> codes, Flagged&& flagged);

  /// Forgets everything, as after a reset.
  void restart();

  /// Extremes and sums of some entries of the window.
  struct Figures {
    std::int32_t lowest;
    std::int32_t highest;
    std::int32_t sum;
    std::int32_t sum_of_squares;
  };

 private:
  static constexpr std::size_t run = 64;  ///< taken as a whole if at all

  [[nodiscard]] bool take_run(std::span<const std::int32_t> codes);
  void enter(std::int64_t value);

  std::vector<std::int32_t> window_;          ///< the last entries, oldest at place_
  std::vector<std::optional<Figures>> runs_;  ///< of the window's runs that came in as a whole
  std::size_t place_ = 0;
  std::size_t filled_ = 0;
  std::int64_t count_;
  std::int64_t sum_ = 0;
  std::int64_t sum_of_squares_ = 0;
  std::int64_t previous_ = 0;
  std::int64_t origin_;     ///< entries are relative to mid-rail, so that their squares stay small
  std::int64_t influence_;  ///< in 1/256
  double k_squared_;
  double least_squared_;  ///< what a flagged offset's square must exceed at least
};

template <typename Flagged>
void PeakDetector::take(std::span<const std::int32_t> codes, Flagged&& flagged) {
  std::size_t i = 0;
  while (i < codes.size()) {
    if (codes.size() - i >= run && take_run(codes.subspan(i, run))) {
      i += run;
      continue;
    }
    const std::size_t end = std::min(i + run - place_ % run, codes.size());
    for (; i < end; ++i) {
      if (flags(codes[i])) flagged(i);
    }
  }
}

// Here, not in a source file: it runs for every sample, and must be inlined.

inline void PeakDetector::enter(std::int64_t value) {
  std::int32_t& oldest = window_[place_];
  sum_ += value - oldest;
  sum_of_squares_ += value * value - std::int64_t{oldest} * oldest;
  oldest = static_cast<std::int32_t>(value);
  if (const std::size_t its_run = place_ / run; its_run < runs_.size()) runs_[its_run].reset();
  if (++place_ == window_.size()) place_ = 0;
  previous_ = value;
}

inline bool PeakDetector::flags(std::int32_t code) {
  // A fraction of 4 bits, so that a weak influence is not rounded away.
  const std::int64_t value = (std::int64_t{code} - origin_) * 16;
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
