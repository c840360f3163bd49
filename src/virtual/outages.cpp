#include "virtual/outages.hpp"

#include <algorithm>

#include "base/random.hpp"
#include "virtual/durations.hpp"

namespace plexor::virtual_rig {

Outages::Outages(const OutageSettings& settings, std::uint32_t device, std::uint64_t seed)
    : device_(device),
      seed_(seed),
      resets_{.per_hour = settings.resets_per_hour, .length = settings.boot, .use = 0},
      // A hang ends by the watchdog's reset, and the device boots.
      hangs_{
          .per_hour = settings.hangs_per_hour, .length = settings.hang + settings.boot, .use = 1} {
  schedule(resets_, base::segment_start);
  schedule(hangs_, base::segment_start);
}

void Outages::schedule(Kind& kind, base::Instant after) const {
  if (kind.per_hour == 0.0) return;
  const std::uint64_t bits = base::uniform_bits({.seed = seed_,
                                                 .block = device_,
                                                 .trial = kind.count++,
                                                 .tap = kind.use,
                                                 .purpose = base::Purpose::outage});
  kind.next = after + poisson_gap(kind.per_hour, bits);
}

base::Instant Outages::next() const { return std::min(resets_.next, hangs_.next); }

base::Instant Outages::take() {
  Kind& kind = resets_.next <= hangs_.next ? resets_ : hangs_;
  const base::Instant begin = kind.next;
  schedule(kind, begin);
  return begin + kind.length;
}

}  // namespace plexor::virtual_rig
