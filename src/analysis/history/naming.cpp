#include "analysis/history/naming.hpp"

#include <algorithm>
#include <iterator>
#include <optional>

#include "analysis/comparing/multiplicity.hpp"
#include "analysis/history/alarm_hours.hpp"
#include "analysis/history/trend_series.hpp"

namespace plexor::analysis::history {
namespace {

std::string name_of(Shape shape) {
  switch (shape) {
    case Shape::one_night: return "one night";
    case Shape::step: return "step";
    case Shape::drift: return "drift";
    case Shape::scatter: return "scatter";
  }
  return {};
}

/// What one round judges together.
struct Round {
  std::size_t number = 1;
  std::vector<Stretch> stretches;
  std::vector<std::vector<Explanation>> explanations;  ///< of each stretch
};

void note_tests(Trend& trend, const Round& round) {
  for (std::size_t i = 0; i < round.stretches.size(); ++i) {
    for (const Explanation& one : round.explanations[i]) {
      TrendTest test;
      test.series = round.stretches[i].series;
      test.what = name_of(one.shape);
      test.test = one.test;
      test.round = round.number;
      test.p = one.p;
      trend.tests.push_back(std::move(test));
    }
  }
}

void note_hours(Trend& trend) {
  for (std::size_t i = 0; i < trend.hours.size(); ++i) {
    const std::optional<double> p = smallest_p(trend.hours[i]);
    if (!p) continue;
    TrendTest test;
    test.series = i;
    test.of_hours = true;
    test.what = "hours";
    test.test = "exact rate of each hour against the others, Holm over the hours watched";
    test.p = *p;
    trend.tests.push_back(std::move(test));
  }
}

/// Adjusts the tests noted from `first` on, as one family.
void adjust_tests(Trend& trend, std::size_t first) {
  std::vector<double> p;
  for (std::size_t i = first; i < trend.tests.size(); ++i) p.push_back(trend.tests[i].p);
  const std::vector<double> after = adjusted(p, Adjustment::holm);
  for (std::size_t i = first; i < trend.tests.size(); ++i) {
    trend.tests[i].p_adjusted = after[i - first];
    trend.tests[i].named = trend.tests[i].of_hours && after[i - first] <= trend.settings.alpha;
  }
}

/// Of the significant explanations of one stretch the one that explains most; scatter only where
/// it stands alone. `tests`: those of the stretch, in its order.
std::optional<std::size_t> best_of(const std::vector<Explanation>& explanations,
                                   std::span<const TrendTest> tests, double alpha) {
  std::optional<std::size_t> best;
  for (std::size_t i = 0; i < explanations.size(); ++i) {
    if (tests[i].p_adjusted > alpha) continue;
    if (!best || explanations[i].explained > explanations[*best].explained) best = i;
  }
  return best;
}

/// What a named change leaves to be looked at again.
std::vector<Stretch> rest_of(const Stretch& stretch, const Explanation& named) {
  const auto at = stretch.points.begin() + static_cast<std::ptrdiff_t>(named.at);
  std::vector<Stretch> rest;
  if (named.shape == Shape::one_night) {
    Stretch without = stretch;
    without.points.erase(without.points.begin() + static_cast<std::ptrdiff_t>(named.at));
    rest.push_back(std::move(without));
  }
  if (named.shape == Shape::step || named.shape == Shape::drift) {
    rest.push_back({stretch.series, {stretch.points.begin(), at}});
  }
  if (named.shape == Shape::step) rest.push_back({stretch.series, {at, stretch.points.end()}});
  return rest;
}

/// Judges a round; what is left goes into the next.
Round judge_round(Trend& trend, Round round, std::vector<NamedChange>& named) {
  for (const Stretch& stretch : round.stretches) {
    round.explanations.push_back(explanations_of(trend, stretch));
  }
  const std::size_t first = trend.tests.size();
  note_tests(trend, round);
  if (round.number == 1) note_hours(trend);
  adjust_tests(trend, first);
  Round next{.number = round.number + 1, .stretches = {}, .explanations = {}};
  std::size_t begin = first;
  for (std::size_t i = 0; i < round.stretches.size(); ++i) {
    const std::vector<Explanation>& explanations = round.explanations[i];
    const std::span<TrendTest> tests = std::span(trend.tests).subspan(begin, explanations.size());
    begin += explanations.size();
    const auto best = best_of(explanations, tests, trend.settings.alpha);
    if (!best) continue;
    tests[*best].named = true;
    named.push_back({round.stretches[i], explanations[*best], tests[*best].p_adjusted});
    std::ranges::move(rest_of(round.stretches[i], explanations[*best]),
                      std::back_inserter(next.stretches));
  }
  return next;
}

}  // namespace

std::vector<NamedChange> name_changes(Trend& trend) {
  Round round;
  for (std::size_t i = 0; i < trend.series.size(); ++i) {
    round.stretches.push_back({i, good_points(trend.series[i])});
  }
  std::vector<NamedChange> named;
  while (!round.stretches.empty()) round = judge_round(trend, std::move(round), named);
  for (const TrendTest& test : trend.tests) {
    if (!test.of_hours || !test.named) continue;
    // What Holm made of the smallest p, it makes of the others.
    const double factor = test.p > 0.0 ? test.p_adjusted / test.p : 1.0;
    name_hours(trend.hours[test.series], trend.settings.alpha / factor);
  }
  return named;
}

}  // namespace plexor::analysis::history
