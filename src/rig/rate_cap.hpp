#pragma once

#include <cstdint>

#include "lines/lines.hpp"

namespace plexor::rig {

/// Lets through so many a second that no device is cut short, and no more: what a
/// device that babbles sends must not fill memory, journal and disk.
class RateCap {
 public:
  static constexpr std::int64_t at_once = 200;
  static constexpr std::int64_t per_second = 50;

  /// Whether one more may pass, at an instant no earlier than the last.
  [[nodiscard]] bool lets_pass(lines::KernelInstant at);
  [[nodiscard]] std::uint64_t held_back() const { return held_back_; }

 private:
  lines::KernelInstant full_at_;  ///< when it will have forgotten what has passed
  std::uint64_t held_back_ = 0;
};

}  // namespace plexor::rig
