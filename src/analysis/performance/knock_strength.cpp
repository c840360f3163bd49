#include "analysis/performance/knock_strength.hpp"

#include <cmath>

namespace plexor::analysis {

std::optional<KnockStrength> knock_strength(std::span<const Performance> performances,
                                            double confidence) {
  if (performances.size() < 2) return std::nullopt;
  const std::size_t knocks = performances.front().knocks.size();
  const auto n = static_cast<double>(performances.size());
  std::vector<std::vector<double>> rows;
  KnockStrength strength{.accents = std::vector<double>(knocks)};
  for (const Performance& performance : performances) {
    std::vector<double>& row = rows.emplace_back();
    for (std::size_t k = 0; k < knocks; ++k) {
      const double one = performance.knocks.at(k).strength.value_or(0.0);
      if (!(one > 0.0)) return std::nullopt;
      row.push_back(one);
      strength.accents[k] += one / n;
    }
  }
  for (auto& row : rows) {
    for (std::size_t k = 0; k < knocks; ++k) row[k] /= strength.accents[k];
  }
  for (const double accent : strength.accents)
    strength.mean += accent / static_cast<double>(knocks);
  for (double& accent : strength.accents) accent /= strength.mean;

  const std::vector<double> covariance = covariance_of(rows);
  double variance = 0.0;
  for (std::size_t k = 0; k < knocks; ++k) {
    variance += covariance[k * knocks + k] / static_cast<double>(knocks);
  }
  const Interval interval =
      variance_interval(variance, pooled_degrees(covariance, knocks, n - 1.0), confidence);
  strength.cv = {std::sqrt(variance),
                 {.lower = std::sqrt(interval.lower),
                  .upper = std::sqrt(interval.upper),
                  .confidence = confidence,
                  .method = interval.method}};
  return strength;
}

}  // namespace plexor::analysis
