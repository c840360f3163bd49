#pragma once

#include "judge/sequential.hpp"

// The rate after a sequential test. That it stopped early is taken into account: the usual
// estimates would be too good after a pass and too bad after a fail.

namespace plexor::judge {

/// Detection rate or alarms per hour; +infinity where alarms have no upper end.
struct SequentialEstimate {
  double lower = 0.0;
  double median_unbiased = 0.0;
  double upper = 0.0;
  double confidence = 0.0;
};

/// From where a test stopped, by the order of stages: Siegmund 1978 (Biometrika 65:341) and
/// Tsiatis, Rosner & Mehta 1984 (Biometrics 40:797), as in Jennison & Turnbull 2000, sections 8.4
/// and 8.5 (all from memory). The earlier a pass, the fewer failures it speaks for; then come the
/// tests without a verdict, by their failures; then the fails, the earlier the worse. With more
/// failures at any time a test never stops further down in this order, so the chance of at most
/// (and of at least) the stop seen changes one way with the rate, and these are exact:
/// - the interval (Clopper & Pearson's with this order) covers the true rate with at least
///   `confidence` (in 0 to 1, ends excluded), and misses on either side at most half the rest;
/// - the estimate has its median at the true rate as nearly as stops with chances of their own
///   allow: of the stops that put it above the true rate all but half of the nearest have at most
///   the chance 1/2, and so have those that put it below.
/// A test still running (broken off for reasons that are not its outcomes) is taken as planned to
/// end there. Throws std::domain_error for a stop that the design does not have.
[[nodiscard]] SequentialEstimate sequential_estimate(const SequentialDesign& design,
                                                     const SequentialState& stop,
                                                     double confidence);

}  // namespace plexor::judge
