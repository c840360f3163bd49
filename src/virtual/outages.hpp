#pragma once

#include <cstdint>

#include "base/time.hpp"
#include "virtual/simulation.hpp"

namespace plexor::virtual_rig {

/// When one device falls silent, and for how long: resets and hangs, Poisson.
class Outages {
 public:
  Outages(const OutageSettings& settings, std::uint32_t device, std::uint64_t seed);

  /// When the next outage begins; Instant::max() if none ever does.
  [[nodiscard]] base::Instant next() const;
  /// When the outage that begins at next() is over; next() then moves on.
  [[nodiscard]] base::Instant take();

 private:
  struct Kind {
    double per_hour;
    base::Duration length;
    std::uint32_t use;  ///< which draws are its own
    std::uint32_t count = 0;
    base::Instant next = base::Instant::max();
  };
  void schedule(Kind& kind, base::Instant after) const;

  std::uint32_t device_;
  std::uint64_t seed_;
  Kind resets_;
  Kind hangs_;
};

}  // namespace plexor::virtual_rig
