#pragma once

#include <string>

#include "analysis/history/naming.hpp"
#include "analysis/history/trend.hpp"

// Whether the tapper moved along with a device; only for files of this folder.

namespace plexor::analysis::history {

struct TapperBeside {
  bool moved = false;
  std::string words;  ///< one sentence with a space before; empty where nothing was measured
};
/// The same change, at the same nights, in the transit and the coil's temperature: unadjusted
/// p < 0.01 counts as moved, because a hint at the tapper should rather be given once too often.
[[nodiscard]] TapperBeside tapper_beside(const Trend& trend, const NamedChange& change);

}  // namespace plexor::analysis::history
