#include "analysis/latency.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <limits>

#include "analysis/figures.hpp"

namespace plexor::analysis {
namespace {

constexpr std::size_t most_ecdf_points = 400;
constexpr double most_columns = 40.0;
constexpr double never_ms = std::numeric_limits<double>::infinity();

std::vector<Percentile> percentiles_of(std::span<const double> sorted) {
  std::vector<Percentile> result;
  for (const double p : shown_quantiles) {
    Percentile percentile{.p = p, .ms = quantile_type7(sorted, p), .interval = {}};
    if (!sorted.empty()) {
      percentile.interval = quantile_interval(sorted, p, display_confidence, Sides::two);
    }
    result.push_back(std::move(percentile));
  }
  return result;
}

/// steps * 10^power: kept in two parts, so that edges below 1 ms come out as
/// the nearest double to the decimal a reader expects.
struct BinWidth {
  double steps = 1.0;
  int power = 0;

  [[nodiscard]] double edge(double index) const {
    const double scale = std::pow(10.0, std::abs(power));
    return power < 0 ? index * steps / scale : index * steps * scale;
  }
};

double bin_index(double value, const BinWidth& width) { return std::floor(value / width.edge(1)); }

/// The narrowest width of the 1-2-5 series, from 0.1 ms up, that needs at most 40 bins.
BinWidth bin_width(double low, double high) {
  BinWidth width;
  for (width.power = -1;; ++width.power) {
    for (const double steps : {1.0, 2.0, 5.0}) {
      width.steps = steps;
      if (bin_index(high, width) - bin_index(low, width) < most_columns) return width;
    }
  }
}

}  // namespace

Interval quantile_interval(std::span<const double> sorted, double p, double confidence,
                           Sides sides) {
  const OrderRanks ranks = quantile_ranks(sorted.size(), p, confidence, sides);
  Interval interval{.lower = -never_ms,
                    .upper = never_ms,
                    .confidence = confidence,
                    .sides = sides,
                    .method = "order statistics"};
  if (sides != Sides::upper && ranks.lower >= 1) interval.lower = sorted[ranks.lower - 1];
  if (sides != Sides::lower && ranks.upper <= sorted.size()) {
    interval.upper = sorted[ranks.upper - 1];
  }
  return interval;
}

std::optional<Interval> median_interval(std::span<const double> sorted) {
  if (sorted.empty()) return std::nullopt;
  return quantile_interval(sorted, 0.5, display_confidence, Sides::two);
}

Latency summarise_latency(std::span<const double> sorted, const journal::DeviceFacts& device) {
  const auto answered_end = std::lower_bound(sorted.begin(), sorted.end(), never_ms);
  const std::span<const double> hits(sorted.begin(), answered_end);
  return {.n = sorted.size(),
          .heard = hits.size(),
          .percentiles = percentiles_of(sorted),
          .heard_percentiles = percentiles_of(hits),
          .histogram = latency_histogram(hits),
          .ecdf = latency_ecdf(hits, sorted.size()),
          .line_time_ms = base::to_ms(device.line_time),
          .pattern_end_gap_ms = base::to_ms(device.pattern_end_gap)};
}

std::vector<LatencyBin> latency_histogram(std::span<const double> sorted_hits) {
  if (sorted_hits.empty()) return {};
  const BinWidth width = bin_width(sorted_hits.front(), sorted_hits.back());
  const double first = bin_index(sorted_hits.front(), width);
  std::vector<LatencyBin> bins;
  for (const double value : sorted_hits) {
    const double index = bin_index(value, width) - first;
    while (static_cast<double>(bins.size()) <= index) {
      const double next = first + static_cast<double>(bins.size());
      bins.push_back({.from_ms = width.edge(next), .to_ms = width.edge(next + 1), .count = 0});
    }
    ++bins.back().count;
  }
  return bins;
}

std::vector<std::pair<double, double>> latency_ecdf(std::span<const double> sorted_hits,
                                                    std::uint64_t n) {
  const std::size_t hits = sorted_hits.size();
  const std::size_t points = std::min(hits, most_ecdf_points);
  std::vector<std::pair<double, double>> steps;
  for (std::size_t i = 1; i <= points; ++i) {
    const std::size_t rank = (i * hits + points - 1) / points;
    const double ms = sorted_hits[rank - 1];
    if (!steps.empty() && steps.back().first == ms) continue;
    const auto up_to = std::upper_bound(sorted_hits.begin(), sorted_hits.end(), ms);
    steps.emplace_back(ms,
                       static_cast<double>(up_to - sorted_hits.begin()) / static_cast<double>(n));
  }
  return steps;
}

}  // namespace plexor::analysis
