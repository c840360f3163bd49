#include "analysis/comparing/units.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <limits>
#include <map>
#include <numeric>
#include <set>

#include "analysis/comparing/comparable.hpp"
#include "analysis/comparing/dispersion.hpp"
#include "analysis/comparing/multiplicity.hpp"
#include "analysis/comparing/shared_taps.hpp"
#include "analysis/figures.hpp"
#include "analysis/number_text.hpp"
#include "base/error.hpp"

namespace plexor::analysis {
namespace {

using Runs = std::span<const RunEvidence>;

/// One device in one run.
struct Seen {
  const RunEvidence* run = nullptr;
  const DeviceAnswers* answers = nullptr;
  std::string position;
};

/// By unit, in the order in which they first appear.
struct Unit {
  std::string name;
  std::vector<Seen> seen;
};

std::vector<Unit> units_of(Runs runs) {
  std::vector<Unit> units;
  for (const RunEvidence& run : runs) {
    for (std::size_t i = 0; i < run.devices.size(); ++i) {
      const DeviceAnswers& device = run.devices[i];
      auto unit = std::ranges::find(units, device.name, &Unit::name);
      if (unit == units.end()) unit = units.insert(units.end(), {device.name, {}});
      const auto& facts = run.header.rig.devices;
      unit->seen.push_back({&run, &device, i < facts.size() ? facts[i].position : ""});
    }
  }
  return units;
}

void refuse(const RunEvidence& run, const std::string& found, const std::string& expected,
            const std::string& remedy) {
  throw base::InputError({run.place, 0, 0}, found, expected, remedy);
}

/// What differs between the runs besides the units themselves must not be taken for them.
void need_one_setting(Runs runs) {
  for (const RunEvidence& run : runs) {
    if (run.header.lifted) {
      refuse(run, "a lifted run", "runs in which the surface was tapped",
             "clear of the surface every unit hears nothing");
    }
    for (const SettingDifference& difference : setting_differences(runs.front(), run)) {
      if (difference.spoils && difference.what != "devices") {
        refuse(run,
               fmt::format("{}: {}, and {} in {}", difference.what, difference.candidate,
                           difference.base, runs.front().place),
               "runs of one setting", "a difference between units could be due to this");
      }
    }
  }
}

/// All units in each run, and so on the same taps.
bool all_hear_all(Runs runs, const std::vector<Unit>& units) {
  return std::ranges::all_of(
      runs, [&](const RunEvidence& run) { return run.devices.size() == units.size(); });
}

Successes hits_of(const Unit& unit) {
  Successes hits;
  for (const Seen& seen : unit.seen) {
    hits.n += seen.answers->trials.size();
    hits.x += static_cast<std::uint64_t>(
        std::ranges::count_if(seen.answers->trials, &AnsweredTrial::is_hit));
  }
  return hits;
}

Events alarms_of(const Unit& unit) {
  Events alarms{0, 0.0};
  for (const Seen& seen : unit.seen) {
    alarms.count += seen.answers->incidents;
    alarms.exposure += seen.run->quiet_hours;
  }
  return alarms;
}

std::optional<double> median_of(const Unit& unit) {
  std::vector<double> latencies;
  for (const Seen& seen : unit.seen) {
    for (const AnsweredTrial& trial : seen.answers->trials) latencies.push_back(trial.latency_ms);
  }
  std::ranges::sort(latencies);
  return quantile_type7(latencies, 0.5);
}

UnitRow row_of(const Unit& unit) {
  UnitRow row;
  row.name = unit.name;
  std::set<std::string> versions;
  for (const Seen& seen : unit.seen) {
    versions.insert(seen.answers->version);
    const bool is_new = std::ranges::find(row.positions, seen.position) == row.positions.end();
    if (!seen.position.empty() && is_new) row.positions.push_back(seen.position);
  }
  row.version = fmt::format("{}", fmt::join(versions, ", "));
  row.runs = unit.seen.size();
  row.hits = hits_of(unit);
  if (row.hits.n > 0) {
    row.hits_interval = wilson(row.hits.x, row.hits.n, display_confidence, Sides::two);
  }
  row.median_ms = median_of(unit);
  row.alarms = alarms_of(unit);
  return row;
}

/// The outcomes of each tap, one for each unit. All devices of a run have the same valid trials.
std::vector<std::vector<bool>> outcomes_of(Runs runs, const std::vector<Unit>& units) {
  std::vector<std::vector<bool>> trials;
  for (std::size_t run = 0; run < runs.size(); ++run) {
    const std::size_t first = trials.size();
    trials.resize(first + units.front().seen[run].answers->trials.size(),
                  std::vector<bool>(units.size()));
    for (std::size_t unit = 0; unit < units.size(); ++unit) {
      const auto& answered = units[unit].seen[run].answers->trials;
      for (std::size_t i = 0; i < answered.size(); ++i) {
        trials.at(first + i)[unit] = answered[i].is_hit;
      }
    }
  }
  return trials;
}

using Indices = std::vector<std::size_t>;

std::vector<std::vector<bool>> columns_of(const std::vector<std::vector<bool>>& trials,
                                          const Indices& units) {
  std::vector<std::vector<bool>> chosen;
  chosen.reserve(trials.size());
  for (const std::vector<bool>& trial : trials) {
    std::vector<bool>& outcomes = chosen.emplace_back();
    for (const std::size_t unit : units) outcomes.push_back(trial[unit]);
  }
  return chosen;
}

class Table {
 public:
  Table(Runs runs, std::vector<Unit> units) : runs_(runs), units_(std::move(units)) {
    for (const Unit& unit : units_) {
      found_.units.push_back(row_of(unit));
      hits_.push_back(found_.units.back().hits);
      alarms_.push_back(found_.units.back().alarms);
    }
    hears_more_.resize(units_.size());
    raises_more_.resize(units_.size());
    found_.shared_taps = all_hear_all(runs, units_);
    found_.confidence = runs.front().scenario.margins.confidence;
    any_trials_ = std::ranges::all_of(hits_, [](const Successes& one) { return one.n > 0; });
    any_quiet_ = std::ranges::all_of(alarms_, [](const Events& one) { return one.exposure > 0.0; });
    if (found_.shared_taps) outcomes_ = outcomes_of(runs, units_);
  }

  [[nodiscard]] UnitsTable result() {
    test_alikeness();
    name_who_stands_out();
    for (std::string& one : reservations_about(runs_))
      found_.reservations.push_back(std::move(one));
    if (!any_trials_ && !any_quiet_)
      found_.reservations.emplace_back("nothing was tapped or heard");
    remark_on_versions();
    remark_on_positions();
    put_into_words();
    return std::move(found_);
  }

 private:
  void test_alikeness() {
    if (any_trials_ && found_.shared_taps) {
      const CochranQ q = cochran_q(outcomes_);
      found_.alikeness.push_back({"detection rate", "Cochran's Q", q.q, q.degrees, q.p});
    } else if (any_trials_) {
      add_dispersion("detection rate", dispersion_of(hits_));
    }
    if (any_quiet_) add_dispersion("false alarms per hour", dispersion_of(alarms_));
  }

  void add_dispersion(const char* figure, const Dispersion& dispersion) {
    found_.alikeness.push_back(
        {figure, dispersion.exact ? "chi-square, exact given the total" : "chi-square",
         dispersion.chi_square, dispersion.degrees, dispersion.p});
  }

  template <typename Figures>
  [[nodiscard]] static Figures of(const Figures& all, const Indices& units) {
    Figures chosen;
    for (const std::size_t unit : units) chosen.push_back(all[unit]);
    return chosen;
  }

  [[nodiscard]] std::vector<UnitDeviation> detections_among(const Indices& units) const {
    if (!any_trials_) return std::vector<UnitDeviation>(units.size());
    return found_.shared_taps ? shared_deviations(columns_of(outcomes_, units))
                              : deviations(of(hits_, units));
  }

  [[nodiscard]] std::vector<UnitDeviation> alarms_among(const Indices& units) const {
    return any_quiet_ ? deviations(of(alarms_, units)) : std::vector<UnitDeviation>(units.size());
  }

  /// Each of these against the others of them. Holm over all of them and both figures: the more one
  /// looks, the more stands out by chance.
  void hold_against_each_other(const Indices& units) {
    const auto detections = detections_among(units);
    const auto alarms = alarms_among(units);
    std::vector<double> p_values;
    for (const auto* figure : {&detections, &alarms}) {
      for (const UnitDeviation& one : *figure) p_values.push_back(one.p);
    }
    const std::vector<double> holm = adjusted(p_values, Adjustment::holm);
    for (std::size_t i = 0; i < units.size(); ++i) {
      found_.units[units[i]].detection_p = holm[i];
      found_.units[units[i]].alarms_p = holm[units.size() + i];
      hears_more_[units[i]] = detections[i].higher;
      raises_more_[units[i]] = alarms[i].higher;
    }
  }

  [[nodiscard]] double p_of(std::size_t unit) const {
    return std::min(found_.units[unit].detection_p, found_.units[unit].alarms_p);
  }

  /// From the one that lies furthest off inwards, each time without those already named: one bad
  /// unit among the others would make them look too good.
  void name_who_stands_out() {
    const double error = 1.0 - found_.confidence;
    Indices left(units_.size());
    std::iota(left.begin(), left.end(), std::size_t{0});
    while (left.size() >= 2) {
      hold_against_each_other(left);
      const auto furthest =
          std::ranges::min_element(left, {}, [&](std::size_t unit) { return p_of(unit); });
      if (p_of(*furthest) > error) return;
      if (left.size() == 2) {  // of two nobody can tell which is the odd one
        for (const std::size_t unit : left) name(unit);
        return;
      }
      name(*furthest);
      left.erase(furthest);
    }
  }

  void name(std::size_t unit) {
    if (found_.standing_out == 0) first_named_ = unit;
    found_.units[unit].stands_out = true;
    ++found_.standing_out;
  }

  void remark_on_versions() {
    std::set<std::string> versions;
    for (const UnitRow& row : found_.units) versions.insert(row.version);
    if (versions.size() < 2) return;
    found_.remarks.push_back(
        fmt::format("the units run different releases ({}): a difference may be theirs",
                    fmt::join(versions, "; ")));
  }

  void remark_on_positions() {
    std::map<std::string, std::map<std::string, int>> by_position;
    for (const Unit& unit : units_) {
      for (const Seen& seen : unit.seen) ++by_position[seen.position][unit.name];
    }
    if (by_position.contains("")) {
      if (found_.shared_taps) {
        found_.remarks.emplace_back(
            "no place was told (position in the rig file): what a unit's place does to it can't be "
            "told from what it is");
      }
      return;
    }
    if (by_position.size() < 2) return;
    const bool even = std::ranges::all_of(by_position, [&](const auto& position) {
      const auto& counts = position.second;
      return counts.size() == units_.size() && std::ranges::all_of(counts, [&](const auto& unit) {
               return unit.second == by_position.begin()->second.begin()->second;
             });
    });
    found_.remarks.emplace_back(
        even ? "each unit stood equally often at each place: a difference is not the place's"
             : "units have not stood equally often at each place: a difference may be the place's "
               "(plexor order gives an even plan)");
  }

  [[nodiscard]] static std::string counts_of(const UnitRow& row) {
    return fmt::format("{} of {} heard, {} in {} of quiet", row.hits.x,
                       counted(row.hits.n, "knock"), counted(row.alarms.count, "false alarm"),
                       hours_text(row.alarms.exposure));
  }

  void put_into_words() {
    const double error = 1.0 - found_.confidence;
    for (std::size_t i = 0; i < found_.units.size(); ++i) {
      UnitRow& row = found_.units[i];
      std::vector<std::string> why;
      if (row.detection_p <= error) {
        why.push_back(fmt::format("hears {} than the others (p = {:.2g})",
                                  hears_more_[i] ? "more" : "less", row.detection_p));
      }
      if (row.alarms_p <= error) {
        why.push_back(fmt::format("raises {} false alarms than the others (p = {:.2g})",
                                  raises_more_[i] ? "more" : "fewer", row.alarms_p));
      }
      row.reason = why.empty() ? fmt::format("{}: {}: does not stand out", row.name, counts_of(row))
                               : fmt::format("{}: {}: {}", row.name, counts_of(row),
                                             fmt::join(why, " and "));
    }
    const std::string units = counted(found_.units.size(), "unit");
    found_.headline =
        found_.standing_out == 0
            ? fmt::format("none of {} stands out", units)
            : fmt::format("{} of {} stand{} out; {}", found_.standing_out, units,
                          found_.standing_out == 1 ? "s" : "", found_.units[first_named_].reason);
  }

  Runs runs_;
  std::vector<Unit> units_;
  std::vector<std::vector<bool>> outcomes_;  ///< of shared taps
  std::vector<Successes> hits_;
  std::vector<Events> alarms_;
  std::size_t first_named_ = 0;  ///< the one furthest off
  bool any_trials_ = false;
  bool any_quiet_ = false;
  std::vector<bool> hears_more_;
  std::vector<bool> raises_more_;
  UnitsTable found_;
};

}  // namespace

UnitsTable table_of_units(std::span<const RunEvidence> runs) {
  need_fixed_numbers(runs);
  need_one_setting(runs);
  std::vector<Unit> units = units_of(runs);
  if (units.size() < 2) {
    refuse(runs.front(), "one unit", "2 units or more",
           "give runs of other units too, or a run with several devices");
  }
  return Table(runs, std::move(units)).result();
}

}  // namespace plexor::analysis
