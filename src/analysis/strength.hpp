#pragma once

#include <cstdint>
#include <map>
#include <vector>

#include "analysis/results.hpp"
#include "base/strike_speed.hpp"

namespace plexor::analysis {

/// Detection against strike speed: counted in fine bins of 0.05 m/s, shown in
/// few enough to read.
class StrengthTally {
 public:
  void count(base::StrikeSpeed mean, bool hit);

  /// The bins that hold trials, at most 12, of one width (0.05, 0.1, 0.2 or 0.5 m/s times a
  /// power of ten).
  [[nodiscard]] std::vector<StrengthBin> bins() const;

 private:
  struct Count {
    std::uint64_t hits = 0;
    std::uint64_t trials = 0;
  };
  [[nodiscard]] std::map<std::int64_t, Count> merged(std::int64_t fine_bins) const;

  std::map<std::int64_t, Count> fine_;  ///< by speed / 0.05 m/s
};

}  // namespace plexor::analysis
