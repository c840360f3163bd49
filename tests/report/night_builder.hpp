#pragma once

#include "analysis/results.hpp"

namespace plexor::report {

/// A night of soaking at the oak counter: nine hours, a power cut with its hole, a kiln door marked
/// by hand and footsteps told by a mat, a device that hears less and less and was power-cycled.
[[nodiscard]] analysis::Results night_results();

}  // namespace plexor::report
