#include "analysis/comparing/compare.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <set>

#include "analysis/comparing/compare_words.hpp"
#include "analysis/comparing/multiplicity.hpp"
#include "analysis/comparing/paired.hpp"
#include "analysis/comparing/rate_ratio.hpp"
#include "analysis/comparing/two_proportions.hpp"
#include "analysis/comparing/two_sample.hpp"
#include "analysis/latency.hpp"
#include "base/error.hpp"

namespace plexor::analysis {
namespace {

using Runs = std::span<const RunEvidence>;

/// Which trials of which device a figure is about.
struct Selection {
  std::size_t device = 0;
  std::optional<std::uint32_t> rhythm{};  ///< nothing: all

  [[nodiscard]] bool takes(const AnsweredTrial& trial) const {
    return !rhythm || trial.rhythm == *rhythm;
  }
};

const DeviceAnswers& device_named(const RunEvidence& run, const std::string& name) {
  return *std::ranges::find(run.devices, name, &DeviceAnswers::name);
}

/// The trials of a selection, run by run.
template <typename Deed>
void for_each_trial(Runs runs, const std::string& device, const Selection& of, Deed deed) {
  for (const RunEvidence& run : runs) {
    for (const AnsweredTrial& trial : device_named(run, device).trials) {
      if (of.takes(trial)) deed(trial);
    }
  }
}

Successes hits_of(Runs runs, const std::string& device, const Selection& of) {
  Successes share;
  for_each_trial(runs, device, of, [&](const AnsweredTrial& trial) {
    ++share.n;
    if (trial.is_hit) ++share.x;
  });
  return share;
}

std::vector<double> latencies_of(Runs runs, const std::string& device, const Selection& of) {
  std::vector<double> latencies;
  for_each_trial(runs, device, of,
                 [&](const AnsweredTrial& trial) { latencies.push_back(trial.latency_ms); });
  std::ranges::sort(latencies);
  return latencies;
}

/// Trials that count in both; the candidate's outcome is the first.
Pairs pairs_of(Runs base, Runs candidate, const std::string& device, const Selection& of) {
  Pairs pairs;
  for (std::size_t run = 0; run < base.size(); ++run) {
    const auto& before = device_named(base[run], device).trials;
    auto at = before.begin();
    for (const AnsweredTrial& now : device_named(candidate[run], device).trials) {
      while (at != before.end() && at->key() < now.key()) ++at;
      if (at == before.end()) break;
      if (at->key() != now.key() || !of.takes(now)) continue;
      if (now.is_hit) {
        ++(at->is_hit ? pairs.both : pairs.first_only);
      } else {
        ++(at->is_hit ? pairs.second_only : pairs.neither);
      }
    }
  }
  return pairs;
}

std::optional<double> rate_of(const Successes& share) {
  if (share.n == 0) return std::nullopt;
  return static_cast<double>(share.x) / static_cast<double>(share.n);
}

std::vector<std::pair<double, double>> ecdf_of(std::span<const double> sorted) {
  const auto answered = std::ranges::lower_bound(sorted, std::numeric_limits<double>::infinity());
  return latency_ecdf({sorted.begin(), answered}, sorted.size());
}

ComparedLatencies compared_latencies(Runs base, Runs candidate, const std::string& device,
                                     double confidence) {
  const std::vector<double> before = latencies_of(base, device, {});
  const std::vector<double> now = latencies_of(candidate, device, {});
  ComparedLatencies found{.device = device,
                          .base_ecdf = ecdf_of(before),
                          .candidate_ecdf = ecdf_of(now),
                          .quantiles = {}};
  for (const double p : shown_quantiles) {
    ComparedQuantile quantile{
        .p = p,
        .base = quantile_type7(before, p),
        .candidate = quantile_type7(now, p),
        .change = quantile_difference(now, before, p, confidence, Joining::squared)};
    const bool heard = quantile.base && quantile.candidate && std::isfinite(*quantile.base) &&
                       std::isfinite(*quantile.candidate);
    if (!heard) quantile.change.estimate.reset();
    found.quantiles.push_back(std::move(quantile));
  }
  return found;
}

class Comparing {
 public:
  Comparing(Runs base, Runs candidate, bool paired, const scenario::Margins& margins)
      : base_(base), candidate_(candidate), paired_(paired), margins_(margins) {}

  [[nodiscard]] std::vector<ComparedFigure> figures() {
    for (std::size_t device = 0; device < base_.front().devices.size(); ++device) {
      add_device(device);
    }
    judge();
    return std::move(figures_);
  }

 private:
  void add_device(std::size_t device) {
    add_detection({device}, true);
    add_latency({device}, true);
    add_alarms(device);
    const auto& rhythms = base_.front().scenario.rhythms;
    if (std::ranges::count_if(rhythms, [](const auto& one) { return !one.is_distractor(); }) < 2) {
      return;
    }
    for (std::uint32_t rhythm = 0; rhythm < rhythms.size(); ++rhythm) {
      if (rhythms[rhythm].is_distractor()) continue;
      add_detection({device, rhythm}, false);
      add_latency({device, rhythm}, false);
    }
  }

  [[nodiscard]] ComparedFigure figure(const char* name, const Selection& of, bool decides) const {
    ComparedFigure figure;
    figure.device = base_.front().devices[of.device].name;
    figure.figure = name;
    figure.decides = decides;
    if (of.rhythm) figure.rhythm = base_.front().scenario.rhythms[*of.rhythm].name;
    return figure;
  }

  void add_detection(const Selection& of, bool decides) {
    ComparedFigure found = figure("detection rate", of, decides);
    Successes before = hits_of(base_, found.device, of);
    Successes now = hits_of(candidate_, found.device, of);
    found.margin = margins_.detection;
    if (paired_) {
      const Pairs pairs = pairs_of(base_, candidate_, found.device, of);
      before = {pairs.both + pairs.second_only, pairs.count()};
      now = {pairs.both + pairs.first_only, pairs.count()};
      found.interval = tango_difference(pairs, margins_.confidence, Sides::two);
      const PValues p = mcnemar_exact(pairs.first_only, pairs.second_only);
      found.p_worse = p.less;
      found.p_better = p.greater;
      found.test = "McNemar, exact";
    } else {
      found.interval = newcombe_difference(now, before, margins_.confidence, Sides::two);
      const NamedP worse = boschloo_exact(now, before, Alternative::less);
      found.p_worse = worse.p;
      found.p_better = boschloo_exact(now, before, Alternative::greater).p;
      found.test = worse.method;
    }
    found.base_n = before.n;
    found.candidate_n = now.n;
    found.base = rate_of(before);
    found.candidate = rate_of(now);
    if (found.base && found.candidate) found.change = *found.candidate - *found.base;
    figures_.push_back(std::move(found));
  }

  void add_latency(const Selection& of, bool decides) {
    ComparedFigure found = figure("latency", of, decides);
    const std::vector<double> before = latencies_of(base_, found.device, of);
    const std::vector<double> now = latencies_of(candidate_, found.device, of);
    const Shift shift = hodges_lehmann(now, before, margins_.confidence);
    constexpr double endless = std::numeric_limits<double>::infinity();
    found.unit = "ms";
    found.margin = margins_.latency_ms;
    found.base_n = before.size();
    found.candidate_n = now.size();
    found.base = quantile_type7(before, 0.5);
    found.candidate = quantile_type7(now, 0.5);
    found.change = shift.estimate;
    found.interval = {-endless, endless, margins_.confidence, Sides::two, "Hodges-Lehmann"};
    // Two unanswered trials are tied, but where nobody answered there is no latency to compare.
    const bool any_answer = (!before.empty() && std::isfinite(before.front())) ||
                            (!now.empty() && std::isfinite(now.front()));
    if (!any_answer) found.change.reset();
    if (shift.reached() && any_answer) {
      found.interval.lower = shift.lower;
      found.interval.upper = shift.upper;
    }
    auto p = mann_whitney_exact(now, before);
    found.test = p ? "Mann-Whitney, exact" : "Mann-Whitney";
    if (!p) p = mann_whitney_normal(now, before, true);
    if (p) {
      found.p_worse = p->greater;
      found.p_better = p->less;
    }
    figures_.push_back(std::move(found));
  }

  [[nodiscard]] static Events alarms_of(Runs runs, const std::string& device) {
    Events events{0, 0.0};
    for (const RunEvidence& run : runs) {
      events.count += device_named(run, device).incidents;
      events.exposure += run.quiet_hours;
    }
    return events;
  }

  void add_alarms(std::size_t device) {
    ComparedFigure found =
        figure("false alarms per hour", {device}, margins_.alarm_ratio.has_value());
    const Events before = alarms_of(base_, found.device);
    const Events now = alarms_of(candidate_, found.device);
    if (before.exposure <= 0.0 || now.exposure <= 0.0) return;  // neither has listened for them
    found.unit = "times";
    found.margin = margins_.alarm_ratio;
    found.base_n = before.count;
    found.candidate_n = now.count;
    found.base = static_cast<double>(before.count) / before.exposure;
    found.candidate = static_cast<double>(now.count) / now.exposure;
    if (before.count > 0) found.change = *found.candidate / *found.base;
    found.interval = rate_ratio_interval(now, before, margins_.confidence, Sides::two);
    const PValues p = rate_ratio_exact(now, before);
    found.p_worse = p.greater;
    found.p_better = p.less;
    found.test = "conditional binomial, exact";
    figures_.push_back(std::move(found));
  }

  void judge() {
    std::vector<double> worse;
    for (const ComparedFigure& one : figures_) worse.push_back(one.p_worse);
    const std::vector<double> adjusted_worse = adjusted(worse, Adjustment::holm);
    const double error = (1.0 - margins_.confidence) / 2.0;
    for (std::size_t i = 0; i < figures_.size(); ++i) {
      ComparedFigure& one = figures_[i];
      one.p_worse_adjusted = adjusted_worse[i];
      if (is_within_margin(one)) {
        one.relation = one.p_better <= error ? Relation::better : Relation::no_worse;
      } else if (one.p_worse_adjusted <= error) {
        one.relation = Relation::worse;
      }
      one.reason = reason_of(one, paired_);
    }
  }

  Runs base_;
  Runs candidate_;
  bool paired_;
  scenario::Margins margins_;
  std::vector<ComparedFigure> figures_;
};

/// Throws where a difference spoils the comparison; the others are told.
std::vector<SettingDifference> harmless_differences(Runs base, Runs candidate) {
  std::vector<SettingDifference> harmless;
  std::set<std::string> told;
  const auto look = [&](const RunEvidence& one, const RunEvidence& other, bool tell) {
    for (SettingDifference& difference : setting_differences(one, other)) {
      if (difference.spoils) {
        throw base::InputError({other.place, 0, 0}, in_words(difference),
                               "a run in which only the release differs",
                               "a difference of the figures could be due to this: compare runs of "
                               "one setting");
      }
      if (tell && told.insert(in_words(difference)).second) {
        harmless.push_back(std::move(difference));
      }
    }
  };
  // Of groups of one size run by run: that runs of a group have seeds of their own is as it should.
  for (std::size_t i = 0; i < candidate.size(); ++i) {
    look(base[base.size() == candidate.size() ? i : 0], candidate[i], true);
  }
  for (const RunEvidence& run : base.subspan(1)) look(base.front(), run, false);
  return harmless;
}

std::string versions_of(Runs runs) {
  std::set<std::string> versions;
  for (const RunEvidence& run : runs) {
    for (const DeviceAnswers& device : run.devices) versions.insert(device.version);
  }
  std::string text;
  for (const std::string& version : versions) text += (text.empty() ? "" : ", ") + version;
  return text;
}

/// Throws where runs of one group are of several releases.
void need_one_release(Runs group) {
  const std::string versions = versions_of(group);
  if (versions == versions_of(group.first(1))) return;
  throw base::InputError({group.back().place, 0, 0}, fmt::format("runs of {} together", versions),
                         "a group of runs of one release", "put each release's runs into a folder");
}

bool pair_run_by_run(Runs base, Runs candidate) {
  if (base.size() != candidate.size()) return false;
  for (std::size_t i = 0; i < base.size(); ++i) {
    if (!are_paired(base[i], candidate[i])) return false;
  }
  return true;
}

Relation overall_of(const Comparison& comparison) {
  if (!comparison.reservations.empty()) return Relation::undecided;
  bool all_no_worse = true;
  bool any_better = false;
  for (const ComparedFigure& one : comparison.figures) {
    if (one.relation == Relation::worse) return Relation::worse;
    if (one.decides && one.relation == Relation::undecided) all_no_worse = false;
    if (one.decides && one.relation == Relation::better) any_better = true;
  }
  if (!all_no_worse) return Relation::undecided;
  return any_better ? Relation::better : Relation::no_worse;
}

std::vector<std::string> places_of(Runs runs) {
  std::vector<std::string> places;
  for (const RunEvidence& run : runs) places.push_back(run.place);
  return places;
}

}  // namespace

Comparison compare(std::span<const RunEvidence> base, std::span<const RunEvidence> candidate,
                   std::uint32_t steps) {
  need_one_release(base);
  need_one_release(candidate);
  need_fixed_numbers(base);
  need_fixed_numbers(candidate);
  Comparison found;
  found.scenario_name = base.front().scenario.name;
  found.rig = base.front().header.rig;
  found.lifted = base.front().header.lifted;
  found.differences = harmless_differences(base, candidate);
  found.base_runs = places_of(base);
  found.candidate_runs = places_of(candidate);
  found.base_version = versions_of(base);
  found.candidate_version = versions_of(candidate);
  found.paired = pair_run_by_run(base, candidate);
  found.margins = base.front().scenario.margins;
  found.margins.confidence = 1.0 - (1.0 - found.margins.confidence) / steps;
  found.reservations = reservations_about(base);
  for (std::string& one : reservations_about(candidate))
    found.reservations.push_back(std::move(one));
  found.figures = Comparing(base, candidate, found.paired, found.margins).figures();
  for (const DeviceAnswers& device : base.front().devices) {
    found.latencies.push_back(
        compared_latencies(base, candidate, device.name, found.margins.confidence));
  }
  found.overall = overall_of(found);
  found.headline = headline_of(found);
  return found;
}

}  // namespace plexor::analysis
