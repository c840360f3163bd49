#include "analysis/history/tapper_beside.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "analysis/history/trend_series.hpp"
#include "analysis/history/trend_words.hpp"

namespace plexor::analysis::history {
namespace {

constexpr double moved_p = 0.01;

/// One figure of the tapper in the nights of a change, with the weights along which that goes.
struct Beside {
  std::vector<std::size_t> points;
  std::vector<double> weights;
};

Beside beside_of(const TrendSeries& tapper, const TrendSeries& device, const Stretch& stretch,
                 const std::vector<double>& weights) {
  Beside found;
  for (std::size_t i = 0; i < stretch.points.size(); ++i) {
    const std::size_t night = device.points[stretch.points[i]].night;
    const auto at = std::ranges::find(tapper.points, night, &TrendPoint::night);
    if (at == tapper.points.end() || !at->left_out.empty()) continue;
    found.points.push_back(static_cast<std::size_t>(at - tapper.points.begin()));
    found.weights.push_back(weights[i]);
  }
  return found;
}

}  // namespace

TapperBeside tapper_beside(const Trend& trend, const NamedChange& change) {
  const TrendSeries& device = trend.series[change.stretch.series];
  const std::vector<double> weights =
      weights_of(trend, change.stretch, change.explanation.shape, change.explanation.at);
  TapperBeside found;
  std::string figures;
  for (const TrendSeries& tapper : trend.series) {
    if (!is_of_tapper(tapper.figure) || tapper.rig != device.rig ||
        tapper.surface != device.surface || tapper.scenario != device.scenario) {
      continue;
    }
    const Beside beside = beside_of(tapper, device, change.stretch, weights);
    if (beside.points.size() < trend.settings.least_nights) continue;
    const double p =
        scatter_p(values_of(tapper, beside.points), beside.weights, least_sd(tapper.figure));
    found.moved = found.moved || p < moved_p;
    figures +=
        fmt::format("{}{} {}", figures.empty() ? "" : ", ", to_text(tapper.figure), p_text(p));
  }
  if (figures.empty()) return found;
  found.words = found.moved
                    ? fmt::format(" The tapper moved with it ({}): it may be the cause.", figures)
                    : fmt::format(" The tapper did not move with it ({}).", figures);
  return found;
}

}  // namespace plexor::analysis::history
