#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

#include "analysis/history/trend.hpp"

// What could explain that a stretch of nights is not all alike; only for files of this folder.

namespace plexor::analysis::history {

/// Some nights of one series that nothing has explained yet.
struct Stretch {
  std::size_t series = 0;
  std::vector<std::size_t> points;  ///< places in the series, rising
};

enum class Shape : std::uint8_t { one_night, step, drift, scatter };

/// The best explanation of one shape.
struct Explanation {
  Shape shape = Shape::one_night;
  std::size_t at = 0;  ///< in Stretch::points: the night, the first after a step, a drift's first
  double explained = 0.0;  ///< share of the stretch's scatter
  double p = 1.0;          ///< over all places at which this shape could be
  std::string test;
};

/// One for each shape that can be tested here; none for stretches that are too short, and none
/// where no outcome could have been significant (all counts 0: Tarone 1990, Biometrics 46:515).
[[nodiscard]] std::vector<Explanation> explanations_of(const Trend& trend, const Stretch& stretch);

/// Weights along which a shape at a place changes: 1 for its nights, or nights since it began.
[[nodiscard]] std::vector<double> weights_of(const Trend& trend, const Stretch& stretch,
                                             Shape shape, std::size_t at);

/// p that chance alone makes `figures` follow the weights as far, from their own scatter.
[[nodiscard]] double scatter_p(const std::vector<double>& figures,
                               const std::vector<double>& weights, double least_sd);

}  // namespace plexor::analysis::history
