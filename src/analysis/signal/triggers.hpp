#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace plexor::analysis {

/// What a detector would flag that flags each sample at least `threshold` codes away from the
/// baseline, on either side, and is then deaf for `lockout` samples: the sample numbers. It does
/// not listen again at sample n before n + lockout.
[[nodiscard]] std::vector<std::size_t> triggers_in(std::span<const std::int32_t> values,
                                                   double baseline, double threshold,
                                                   std::size_t lockout);

/// The same on the lowest and highest values of bins of time, for a lockout of whole bins: bin
/// numbers. `lowest` and `highest` are equally long.
[[nodiscard]] std::vector<std::size_t> triggers_in_bins(std::span<const std::int32_t> lowest,
                                                        std::span<const std::int32_t> highest,
                                                        double baseline, double threshold,
                                                        std::size_t lockout_bins);

}  // namespace plexor::analysis
