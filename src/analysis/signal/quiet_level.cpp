#include "analysis/signal/quiet_level.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace plexor::analysis {
namespace {

constexpr std::size_t fewest_quiet_samples = 16;
constexpr double sd_per_median_deviation = 1.4826;  // of the normal distribution
constexpr double outlier_deviations = 4.0;
constexpr double reach_share = 0.01;

double middle_of(std::vector<double>& values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace

double QuietLevel::reach(std::size_t stretch) const {
  // exp(-z^2/2) / 2 bounds the normal distribution's tail.
  const double tails = std::max<double>(static_cast<double>(stretch), 1.0) / reach_share;
  return noise_rms * std::sqrt(2.0 * std::log(tails));
}

std::optional<QuietLevel> quiet_level(std::span<const std::int32_t> values) {
  if (values.size() < fewest_quiet_samples) return std::nullopt;
  std::vector<double> work(values.begin(), values.end());
  const double median = middle_of(work);
  for (double& value : work) value = std::abs(value - median);
  // Where more than half of the samples are the same code, the deviation is less than that code.
  const double deviation = std::max(sd_per_median_deviation * middle_of(work), 0.5);
  QuietLevel level;
  double sum = 0.0;
  double squares = 0.0;
  for (const std::int32_t value : values) {
    const double from_median = value - median;
    if (std::abs(from_median) > outlier_deviations * deviation) continue;
    sum += from_median;
    squares += from_median * from_median;
    ++level.samples;
  }
  const auto n = static_cast<double>(level.samples);
  level.baseline = median + sum / n;
  const double variance = (squares - sum * sum / n) / std::max(n - 1.0, 1.0);
  level.noise_rms = std::sqrt(std::max(variance, 1.0 / 12.0));
  return level;
}

}  // namespace plexor::analysis
