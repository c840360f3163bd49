#include "analysis/strength.hpp"

#include <array>
#include <cstddef>

#include "analysis/figures.hpp"

namespace plexor::analysis {
namespace {

constexpr std::int64_t fine_width_um_s = 50'000;
constexpr std::size_t most_speeds = 12;

}  // namespace

void StrengthTally::count(base::StrikeSpeed mean, bool hit) {
  Count& bin = fine_[mean.um_s / fine_width_um_s];
  ++bin.trials;
  if (hit) ++bin.hits;
}

std::map<std::int64_t, StrengthTally::Count> StrengthTally::merged(std::int64_t fine_bins) const {
  std::map<std::int64_t, Count> result;
  for (const auto& [index, count] : fine_) {
    Count& bin = result[index / fine_bins];
    bin.hits += count.hits;
    bin.trials += count.trials;
  }
  return result;
}

std::vector<StrengthBin> StrengthTally::bins() const {
  constexpr std::array steps{1, 2, 4};  // 0.05, 0.1, 0.2 m/s; then ten times as much
  std::int64_t fine_bins = 1;
  auto counts = merged(fine_bins);
  for (std::int64_t decade = 1; counts.size() > most_speeds; decade *= 10) {
    for (const int step : steps) {
      fine_bins = decade * step;
      counts = merged(fine_bins);
      if (counts.size() <= most_speeds) break;
    }
  }
  std::vector<StrengthBin> result;
  for (const auto& [index, count] : counts) {
    const std::int64_t from = index * fine_bins * fine_width_um_s;
    const std::int64_t to = from + fine_bins * fine_width_um_s;
    result.push_back({.from_m_s = base::to_m_s({from}),
                      .to_m_s = base::to_m_s({to}),
                      .detected = proportion_of(count.hits, count.trials)});
  }
  return result;
}

}  // namespace plexor::analysis
