#include "analysis/history/explanations.hpp"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>
#include <optional>
#include <utility>

#include "analysis/comparing/dispersion.hpp"
#include "analysis/history/trend_series.hpp"
#include "analysis/trend/count_changes.hpp"
#include "analysis/trend/level_changes.hpp"

namespace plexor::analysis::history {
namespace {

/// Half of chi-square's 95 % point with one degree: splits this close to the best are as good.
constexpr double close_deviance = 3.841;
/// Scatter about an explanation that is rarer than this asks for evidence from night to night.
constexpr double suspicious_scatter = 0.01;
/// A drift is seen from so many nights on.
constexpr std::size_t least_drift_nights = 4;

double of(std::size_t number) { return static_cast<double>(number); }

const TrendPoint& point_of(const Trend& trend, const Stretch& stretch, std::size_t i) {
  return trend.series[stretch.series].points[stretch.points[i]];
}

std::int64_t day_of_point(const Trend& trend, const Stretch& stretch, std::size_t i) {
  return trend.nights[point_of(trend, stretch, i).night].day;
}

/// The first nights of releases, and of the stretch, from which on a drift can be seen.
std::vector<std::size_t> drift_starts(const Trend& trend, const Stretch& stretch) {
  std::vector<std::size_t> starts;
  for (std::size_t i = 0; i + least_drift_nights <= stretch.points.size(); ++i) {
    const bool new_release =
        i > 0 && point_of(trend, stretch, i).release != point_of(trend, stretch, i - 1).release;
    const bool goes_on =
        day_of_point(trend, stretch, stretch.points.size() - 1) > day_of_point(trend, stretch, i);
    if ((i == 0 || new_release) && goes_on) starts.push_back(i);
  }
  return starts;
}

/// Of places that explain a step about as well as the best, a change of release is the likelier.
std::size_t step_place(const Trend& trend, const Stretch& stretch,
                       const std::vector<double>& deviances) {
  const auto best = std::ranges::max_element(deviances);
  std::optional<std::size_t> release;
  for (std::size_t i = 1; i < stretch.points.size(); ++i) {
    if (deviances[i - 1] < *best - close_deviance) continue;
    if (point_of(trend, stretch, i).release == point_of(trend, stretch, i - 1).release) continue;
    if (!release || deviances[i - 1] > deviances[*release - 1]) release = i;
  }
  return release.value_or(static_cast<std::size_t>(best - deviances.begin()) + 1);
}

/// Counts of a stretch.
class CountExplainer {
 public:
  CountExplainer(const Trend& trend, const Stretch& stretch, OrderedCounts counts,
                 Dispersion dispersion)
      : trend_(trend), stretch_(stretch), counts_(std::move(counts)), dispersion_(dispersion) {}

  [[nodiscard]] std::vector<Explanation> all() const {
    std::vector<Explanation> found{one_night(), step()};
    if (auto drifting = drift()) found.push_back(std::move(*drifting));
    found.push_back({.shape = Shape::scatter,
                     .at = 0,
                     .explained = 0.0,
                     .p = dispersion_.p,
                     .test = dispersion_.exact ? "dispersion, exact given the total"
                                               : "dispersion, chi-square"});
    return found;
  }

 private:
  /// The score's square as a share of Pearson's chi-square: what `weights` explain.
  [[nodiscard]] double explained_by(const std::vector<double>& weights) const {
    const double z = weighted_score(counts_, weights);
    return dispersion_.chi_square > 0.0 ? std::min(1.0, z * z / dispersion_.chi_square) : 0.0;
  }

  /// `exact` where what is left scatters as chance lets it; else the scatter must bear it out.
  [[nodiscard]] double borne_out(double exact, double explained, double places) const {
    const double degrees = of(counts_.size()) - 2.0;
    const double left = dispersion_.chi_square * (1.0 - explained);
    const double left_p = cdf(complement(boost::math::chi_squared(degrees), std::max(0.0, left)));
    if (left_p >= suspicious_scatter) return std::min(1.0, exact);
    return std::min(1.0, std::max(exact, places * p_of_share(explained, counts_.size())));
  }

  [[nodiscard]] Explanation one_night() const {
    Explanation best{.test = "one night against the others, exact, Bonferroni"};
    for (std::size_t i = 0; i < counts_.size(); ++i) {
      const double explained = explained_by(weights_of(trend_, stretch_, Shape::one_night, i));
      const double exact = of(counts_.size()) * one_against_others(counts_, i);
      const double p = borne_out(exact, explained, of(counts_.size()));
      if (p > best.p || (p == best.p && explained <= best.explained)) continue;
      best = {Shape::one_night, i, explained, p, best.test};
    }
    return best;
  }

  [[nodiscard]] Explanation step() const {
    const ChangeScan scan = change_scan(counts_);
    Explanation found{.shape = Shape::step,
                      .at = step_place(trend_, stretch_, scan.deviances),
                      .test = scan.exact ? "largest deviance over all splits, exact"
                                         : "largest deviance over all splits, Bonferroni"};
    found.explained = explained_by(weights_of(trend_, stretch_, Shape::step, found.at));
    found.p = borne_out(scan.p, found.explained, of(scan.deviances.size()));
    return found;
  }

  [[nodiscard]] std::optional<Explanation> drift() const {
    const auto starts = drift_starts(trend_, stretch_);
    std::optional<Explanation> best;
    for (const std::size_t start : starts) {
      const auto weights = weights_of(trend_, stretch_, Shape::drift, start);
      const std::vector<std::uint32_t> whole(weights.begin(), weights.end());
      const DriftTest test = drift_test(counts_, whole);
      const double explained = explained_by(weights);
      const double p = borne_out(of(starts.size()) * test.p, explained, of(starts.size()));
      if (best && (p > best->p || (p == best->p && explained <= best->explained))) continue;
      best = {Shape::drift, start, explained, p,
              test.exact ? "exact test of trend" : "Cochran-Armitage test of trend"};
    }
    return best;
  }

  const Trend& trend_;
  const Stretch& stretch_;
  OrderedCounts counts_;
  Dispersion dispersion_;
};

/// Measured figures of a stretch.
std::vector<Explanation> explain_levels(const Trend& trend, const Stretch& stretch,
                                        const std::vector<double>& figures, double finest) {
  const std::size_t nights = figures.size();
  std::vector<Explanation> found;
  const auto best_of = [&](Shape shape, const std::vector<std::size_t>& places, double tried,
                           const char* test) {
    Explanation best{.shape = shape, .test = test};
    for (const std::size_t at : places) {
      const double share = explained_share(figures, weights_of(trend, stretch, shape, at), finest);
      if (share > best.explained) best = {shape, at, share, 1.0, test};
    }
    best.p = std::min(1.0, tried * p_of_share(best.explained, nights));
    if (!places.empty()) found.push_back(best);
  };
  std::vector<std::size_t> every;
  for (std::size_t i = 0; i < nights; ++i) every.push_back(i);
  best_of(Shape::one_night, every, of(nights), "Student's t of one night, Bonferroni");
  best_of(Shape::step, {step_place(trend, stretch, level_deviances(figures, finest))},
          of(nights) - 1.0, "largest Student's t over all splits, Bonferroni");
  const auto starts = drift_starts(trend, stretch);
  best_of(Shape::drift, starts, of(starts.size()), "Student's t of the slope");
  return found;
}

}  // namespace

std::vector<double> weights_of(const Trend& trend, const Stretch& stretch, Shape shape,
                               std::size_t at) {
  std::vector<double> weights(stretch.points.size(), 0.0);
  if (shape == Shape::one_night) {
    weights[at] = 1.0;
    return weights;
  }
  for (std::size_t i = at; i < weights.size(); ++i) {
    weights[i] = shape == Shape::step ? 1.0
                                      : static_cast<double>(day_of_point(trend, stretch, i) -
                                                            day_of_point(trend, stretch, at));
  }
  return weights;
}

std::vector<Explanation> explanations_of(const Trend& trend, const Stretch& stretch) {
  const TrendSeries& series = trend.series[stretch.series];
  if (stretch.points.size() < trend.settings.least_nights) return {};
  if (is_measured(series.figure)) {
    return explain_levels(trend, stretch, values_of(series, stretch.points),
                          least_sd(series.figure));
  }
  const auto explain = [&](const auto& counts) -> std::vector<Explanation> {
    OrderedCounts ordered = ordered_counts(counts);
    if (std::ranges::max(ordered.counts) == 0) return {};
    return CountExplainer(trend, stretch, std::move(ordered), dispersion_of(counts)).all();
  };
  if (is_share(series.figure)) return explain(successes_of(series, stretch.points));
  return explain(events_of(series, stretch.points));
}

double scatter_p(const std::vector<double>& figures, const std::vector<double>& weights,
                 double finest) {
  return p_of_share(explained_share(figures, weights, finest), figures.size());
}

}  // namespace plexor::analysis::history
