#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "analysis/results.hpp"
#include "journal/records.hpp"

namespace plexor::analysis {

/// The quantiles of latency that are shown, in rising order.
inline constexpr std::array shown_quantiles{0.5, 0.9, 0.95, 0.99};

/// Order-statistic interval of the p-quantile of sorted values (which may end in
/// +infinity: unanswered trials). Ends without a rank are -infinity or +infinity.
[[nodiscard]] Interval quantile_interval(std::span<const double> sorted, double p,
                                         double confidence, Sides sides);

/// The median's, two-sided 95 %; nothing for no values.
[[nodiscard]] std::optional<Interval> median_interval(std::span<const double> sorted);

/// Everything said about one device's latency. `sorted`: one value in ms for each
/// valid trial that expects an event, rising; the trials without a hit stand at
/// the end as +infinity.
[[nodiscard]] Latency summarise_latency(std::span<const double> sorted,
                                        const journal::DeviceFacts& device);

/// At most 40 bins of one width (1, 2 or 5 times a power of ten) on round edges.
/// Empty for no values.
[[nodiscard]] std::vector<LatencyBin> latency_histogram(std::span<const double> sorted_hits);

/// Steps of the empirical distribution of `sorted_hits` among n trials, at most 400 of them.
[[nodiscard]] std::vector<std::pair<double, double>> latency_ecdf(
    std::span<const double> sorted_hits, std::uint64_t n);

}  // namespace plexor::analysis
