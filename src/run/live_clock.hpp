#pragma once

#include "lines/lines.hpp"
#include "rig/ports.hpp"

namespace plexor::run {

/// Real time: a run's instants count from the moment the clock was made.
class LiveClock final : public rig::Clock {
 public:
  LiveClock() : start_(lines::kernel_now()) {}

  [[nodiscard]] base::Instant now() const override { return of(lines::kernel_now()); }
  [[nodiscard]] base::Instant of(lines::KernelInstant at) const {
    return base::segment_start + (at - start_);
  }
  [[nodiscard]] lines::KernelInstant kernel(base::Instant at) const {
    return start_ + (at - base::segment_start);
  }
  [[nodiscard]] lines::KernelInstant start() const { return start_; }

 private:
  lines::KernelInstant start_;
};

}  // namespace plexor::run
