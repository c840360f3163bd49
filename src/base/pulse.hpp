#pragma once

#include "base/time.hpp"

namespace plexor::base {

/// One energising of the coil. The off time is fixed before the on edge is written.
struct Pulse {
  Instant on;
  Duration on_time{};

  [[nodiscard]] Instant off() const { return on + on_time; }
  bool operator==(const Pulse&) const = default;
};

}  // namespace plexor::base
