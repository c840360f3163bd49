#pragma once

#include <cstdint>

namespace plexor::base {

/// A place on the surface, measured from a corner of the user's choice. Whole micrometres.
struct SurfacePoint {
  std::int64_t x_um = 0;
  std::int64_t y_um = 0;

  bool operator==(const SurfacePoint&) const = default;
};

}  // namespace plexor::base
