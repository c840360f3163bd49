#pragma once

#include "base/time.hpp"

namespace plexor::analysis {

/// From when to when, on the run's own time.
struct Stretch {
  base::Duration from{};
  base::Duration to{};

  [[nodiscard]] base::Duration length() const { return to - from; }
  bool operator==(const Stretch&) const = default;
};

}  // namespace plexor::analysis
