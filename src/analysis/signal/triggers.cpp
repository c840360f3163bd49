#include "analysis/signal/triggers.hpp"

#include <algorithm>
#include <cmath>

namespace plexor::analysis {
namespace {

/// Numbers of those that stand out, each followed by a lockout.
template <typename StandsOut>
std::vector<std::size_t> with_lockout(std::size_t count, std::size_t lockout,
                                      StandsOut stands_out) {
  std::vector<std::size_t> flagged;
  for (std::size_t i = 0; i < count;) {
    if (stands_out(i)) {
      flagged.push_back(i);
      i += std::max<std::size_t>(lockout, 1);
    } else {
      ++i;
    }
  }
  return flagged;
}

}  // namespace

std::vector<std::size_t> triggers_in(std::span<const std::int32_t> values, double baseline,
                                     double threshold, std::size_t lockout) {
  return with_lockout(values.size(), lockout,
                      [&](std::size_t i) { return std::abs(values[i] - baseline) >= threshold; });
}

std::vector<std::size_t> triggers_in_bins(std::span<const std::int32_t> lowest,
                                          std::span<const std::int32_t> highest, double baseline,
                                          double threshold, std::size_t lockout_bins) {
  return with_lockout(lowest.size(), lockout_bins, [&](std::size_t i) {
    return baseline - lowest[i] >= threshold || highest[i] - baseline >= threshold;
  });
}

}  // namespace plexor::analysis
