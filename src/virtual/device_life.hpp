#pragma once

#include <cstddef>

#include "base/time.hpp"
#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// Whether a device works: it may hang for good, and its power may be taken away and given back,
/// after which it starts anew.
class DeviceLife {
 public:
  /// It works at the begin of the segment.
  explicit DeviceLife(LifeSettings settings);

  [[nodiscard]] bool works() const { return state_ == State::works; }
  /// When it next changes by itself; Instant::max() if it never does.
  [[nodiscard]] base::Instant next() const;
  /// next() has come: it hangs, or has started.
  void change();
  void set_power(bool on, base::Instant now);

 private:
  enum class State : std::uint8_t { works, hangs, off, starts };

  LifeSettings settings_;
  State state_ = State::works;
  base::Instant started_ = base::segment_start;  ///< starts: when it will have
  std::size_t next_hang_ = 0;
};

}  // namespace plexor::virtual_rig
