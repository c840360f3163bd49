#include "analysis/comparing/largest_mean.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

#include "analysis/comparing/support.hpp"

namespace plexor::analysis::comparing {

namespace {

struct HeightAndSlope {
  double height = 0.0;
  double slope = 0.0;  ///< by the angle
};

/// The mean at this angle in (0, pi / 2), from the most probable total outwards until nothing is
/// left to add.
HeightAndSlope mean_at(const ByTotal& probability, double angle) {
  constexpr double negligible_weight = 1e-17;
  const std::size_t trials = probability.size() - 1;
  const double odds = std::tan(angle) * std::tan(angle);
  const double expected = number(trials) * std::sin(angle) * std::sin(angle);
  const auto mode = std::min(trials, static_cast<std::size_t>(expected));
  double weights = 0.0;
  double height = 0.0;
  double moment = 0.0;
  const auto add = [&](std::size_t total, double weight) {
    weights += weight;
    height += weight * probability[total];
    moment += weight * probability[total] * (number(total) - expected);
  };
  double weight = 1.0;
  for (std::size_t total = mode;; ++total) {
    add(total, weight);
    if (total == trials || weight < negligible_weight) break;
    weight *= odds * number(trials - total) / number(total + 1);
  }
  weight = 1.0;
  for (std::size_t total = mode; total > 0 && weight >= negligible_weight; --total) {
    weight *= number(total) / (odds * number(trials - total + 1));
    add(total - 1, weight);
  }
  return {height / weights, 4.0 * moment / weights / std::sin(2.0 * angle)};
}

}  // namespace

double largest_mean(const ByTotal& probability) {
  constexpr double tolerance = 2.5e-7;
  constexpr int first_pieces = 64;
  const auto [least, most] = std::ranges::minmax(probability);
  const double bend = 4.0 * number(probability.size() - 1) * (most - least);
  double best = std::max(probability.front(), probability.back());
  double half_width = std::numbers::pi / 4.0 / first_pieces;
  std::vector<double> centres;
  centres.reserve(first_pieces);
  for (int piece = 0; piece < first_pieces; ++piece)
    centres.push_back(half_width * (2 * piece + 1));
  while (!centres.empty() && best < most) {
    std::vector<std::pair<double, double>> ceilings;  // of each piece, with its centre
    for (const double centre : centres) {
      const auto [height, slope] = mean_at(probability, centre);
      best = std::max(best, height);
      ceilings.emplace_back(height + half_width * (std::abs(slope) + half_width * bend / 2.0),
                            centre);
    }
    centres.clear();
    half_width /= 2.0;
    const double enough = std::min(best + tolerance * most, most);
    for (const auto& [ceiling, centre] : ceilings)
      if (ceiling > enough)
        centres.insert(centres.end(), {centre - half_width, centre + half_width});
  }
  return std::min(best, 1.0);
}

}  // namespace plexor::analysis::comparing
