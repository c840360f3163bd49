#include "analysis/history/change_findings.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <map>
#include <tuple>

#include "analysis/history/tapper_beside.hpp"
#include "analysis/history/trend_series.hpp"
#include "analysis/history/trend_words.hpp"
#include "analysis/number_text.hpp"

namespace plexor::analysis::history {
namespace {

using Places = std::vector<std::size_t>;

Places from_to(const Stretch& stretch, std::size_t from, std::size_t to) {
  return {stretch.points.begin() + static_cast<std::ptrdiff_t>(from),
          stretch.points.begin() + static_cast<std::ptrdiff_t>(to)};
}

double mean_value(const TrendSeries& series, const Places& points) {
  double sum = 0.0;
  for (const std::size_t i : points) sum += series.points[i].value;
  return sum / static_cast<double>(points.size());
}

/// A change with what its words need at hand.
struct Change {
  const Trend& trend;
  const NamedChange& named;
  const TrendSeries& series;
  std::size_t place;  ///< of its point in the series

  Change(const Trend& all, const NamedChange& one)
      : trend(all),
        named(one),
        series(all.series[one.stretch.series]),
        place(one.stretch.points[one.explanation.at]) {}

  [[nodiscard]] const TrendPoint& point() const { return series.points[place]; }
  [[nodiscard]] const TrendNight& night() const { return trend.nights[point().night]; }
  [[nodiscard]] const Stretch& stretch() const { return named.stretch; }
  [[nodiscard]] std::size_t at() const { return named.explanation.at; }
  [[nodiscard]] std::string where() const {
    return where_text(trend, series.scenario, series.rig, series.surface);
  }
  [[nodiscard]] std::string proof() const {
    return fmt::format("{} after Holm; {}", p_text(named.p_adjusted), named.explanation.test);
  }
  [[nodiscard]] bool begins_release() const {
    return place > 0 && series.points[place - 1].release != point().release;
  }
  [[nodiscard]] TrendFinding finding(FindingKind kind, Cause cause) const {
    TrendFinding made = finding_of(night(), kind, cause);
    made.unit = series.unit;
    made.release = point().release;
    made.figure = series.figure;
    made.p = named.p_adjusted;
    return made;
  }
};

/// What else than the release is new in a night: "the mounting is new (clamped instead of glued)".
std::string new_setting(const Change& change) {
  if (change.place == 0) return {};
  const RunFigures& before = change.trend.nights[change.series.points[change.place - 1].night].run;
  const RunFigures& now = change.night().run;
  std::string text;
  const auto compare = [&](const char* what, const std::string& old, const std::string& fresh) {
    if (old == fresh) return;
    text += fmt::format("{}the {} is {} instead of {}", text.empty() ? "" : ", ", what, fresh, old);
  };
  compare("mounting", before.mounting, now.mounting);
  compare("spot", before.spot, now.spot);
  compare("plexor", before.plexor_version, now.plexor_version);
  return text;
}

/// The likeliest cause, and what is said about it and about the tapper.
struct Blame {
  Cause cause = Cause::unknown;
  std::string words;
};

Blame blame_of(const Change& change, bool with_release) {
  if (is_of_tapper(change.series.figure)) {
    return {Cause::tapper,
            " It is the tapper that changed: device figures that moved with it may be due to it."};
  }
  Blame blame;
  const std::string setting = new_setting(change);
  if (!setting.empty()) {
    blame.cause = Cause::setting;
    blame.words = fmt::format(" From that night on {}.", setting);
  }
  if (with_release) blame.cause = Cause::release;
  const TapperBeside tapper = tapper_beside(change.trend, change.named);
  if (tapper.moved && blame.cause == Cause::unknown) blame.cause = Cause::tapper;
  blame.words += tapper.words;
  return blame;
}

/// "falls" or "rises"; of several things "fall" or "rise".
std::string_view direction(Figure figure, double change) {
  const bool several =
      figure == Figure::false_responses || figure == Figure::confusions || figure == Figure::alarms;
  if (several) return change < 0.0 ? "fall" : "rise";
  return change < 0.0 ? "falls" : "rises";
}

TrendFinding step_finding(const Change& change) {
  const bool with_release = change.begins_release();
  const Blame blame = blame_of(change, with_release);
  TrendFinding finding = change.finding(FindingKind::step, blame.cause);
  const Places before = from_to(change.stretch(), 0, change.at());
  const Places after = from_to(change.stretch(), change.at(), change.stretch().points.size());
  const auto way = direction(change.series.figure,
                             mean_value(change.series, after) - mean_value(change.series, before));
  const std::string when = with_release
                               ? fmt::format("with release {}", change.point().release)
                               : fmt::format("from the night of {} on", change.night().name);
  finding.brief = fmt::format("{} {} {}{}", owner_text(change.series), way, when,
                              with_release ? fmt::format(" ({})", change.night().name) : "");
  finding.sentence = fmt::format(
      "{}{} {}{} {}: {} in the {} before, {} since ({}).{}{}", capitalised(when),
      with_release ? fmt::format(" (night of {})", change.night().name) : "",
      owner_text(change.series), change.where(), way, level_text(change.series, before),
      counted(before.size(), "night"), level_text(change.series, after), change.proof(),
      after.size() == 1 ? " That is one night so far: the next ones will tell whether it lasts."
                        : "",
      blame.words);
  return finding;
}

/// Mann and Kendall's p and Sen's slope from the drift's first night on.
struct Course {
  double kendall_p = 1.0;
  double slope = 0.0;
};

Course course_of(const Change& change, const Places& after) {
  std::vector<double> days;
  for (const std::size_t i : after) {
    const auto day = static_cast<double>(change.trend.nights[change.series.points[i].night].day);
    days.push_back(days.empty() ? day : std::max(day, days.back() + 1e-3));
  }
  const std::vector<double> values = values_of(change.series, after);
  return {mann_kendall(values).p, sen_slope(days, values).value_or(SenSlope{}).slope};
}

TrendFinding drift_finding(const Change& change) {
  const bool with_release = change.begins_release();
  const bool over_all = change.place == 0;
  const Blame blame = blame_of(change, with_release);
  TrendFinding finding = change.finding(FindingKind::drift, blame.cause);
  const Places after = from_to(change.stretch(), change.at(), change.stretch().points.size());
  const Places before = from_to(change.stretch(), 0, change.at());
  const Course course = course_of(change, after);
  const auto way = direction(change.series.figure, course.slope);
  const std::string since = with_release ? "since release " + change.point().release
                            : over_all   ? std::string("over all nights")
                                         : "since the night of " + change.night().name;
  const std::array<std::size_t, 1> first = {after.front()};
  const std::array<std::size_t, 1> last = {after.back()};
  finding.brief =
      fmt::format("{} {} {} ({})", owner_text(change.series), way, since, change.night().name);
  finding.sentence = fmt::format(
      "{} (night of {}) {}{} {} by {}: {} in that night, {} in the night of {}{} ({}; Mann-Kendall "
      "{}, Sen's slope).{}",
      capitalised(since), change.night().name, owner_text(change.series), change.where(), way,
      slope_text(change.series.figure, course.slope), level_text(change.series, first),
      level_text(change.series, last),
      change.trend.nights[change.series.points[after.back()].night].name,
      before.empty() ? "" : fmt::format("; {} before", level_text(change.series, before)),
      change.proof(), p_text(course.kendall_p), blame.words);
  return finding;
}

TrendFinding scatter_finding(const Change& change) {
  TrendFinding finding = change.finding(FindingKind::scatter, Cause::unknown);
  Places sorted = change.stretch().points;
  std::ranges::sort(sorted, {}, [&](std::size_t i) { return change.series.points[i].value; });
  const std::array<std::size_t, 1> low = {sorted.front()};
  const std::array<std::size_t, 1> high = {sorted.back()};
  const auto name = [&](std::size_t i) {
    return change.trend.nights[change.series.points[i].night].name;
  };
  finding.nights = {name(low[0]), name(high[0])};
  std::ranges::sort(finding.nights);
  finding.release.clear();
  finding.brief = fmt::format("too much scatter in {}", owner_text(change.series));
  finding.sentence = fmt::format(
      "Too much scatter in {}{}: nights differ more than chance lets them, and no step or drift "
      "explains it, from {} in the night of {} to {} in the night of {} ({}). Something that "
      "changes from night to night is at work; intervals that take all trials together are too "
      "narrow.",
      owner_text(change.series), change.where(), level_text(change.series, low), name(low[0]),
      level_text(change.series, high), name(high[0]), change.proof());
  return finding;
}

/// Figures of one device that are off in the same night are one finding.
class OddNights {
 public:
  void add(const Change& change) {
    const auto key = std::tuple(change.point().night, change.series.unit, change.series.scenario);
    changes_[key].push_back(&change);
  }

  void find(Trend& trend) const {
    for (const auto& [key, changes] : changes_) trend.findings.push_back(finding_of_all(changes));
  }

 private:
  static Places others_of(const Change& change) {
    Places others = change.stretch().points;
    others.erase(others.begin() + static_cast<std::ptrdiff_t>(change.at()));
    return others;
  }
  static std::string clause_of(const Change& change) {
    const std::array<std::size_t, 1> own = {change.place};
    return fmt::format("{} {}, in the other nights {} ({})", to_text(change.series.figure),
                       level_text(change.series, own), level_text(change.series, others_of(change)),
                       change.proof());
  }
  /// Deaf: it detected less than half of what it does in other nights.
  static bool is_deaf(const Change& change) {
    return change.series.figure == Figure::detection &&
           change.point().value < 0.5 * mean_value(change.series, others_of(change));
  }
  static bool alone_in_release(const Change& change) {
    const auto& points = change.series.points;
    return points.size() > 1 &&
           std::ranges::count(points, change.point().release, &TrendPoint::release) == 1;
  }

  static TrendFinding finding_of_all(const std::vector<const Change*>& changes) {
    const Change& first = *changes.front();
    const bool release = !is_of_tapper(first.series.figure) && alone_in_release(first);
    TrendFinding finding = first.finding(FindingKind::odd_night, Cause::unknown);
    std::string clauses;
    bool deaf = false;
    for (const Change* change : changes) {
      clauses += (clauses.empty() ? "" : "; ") + clause_of(*change);
      finding.p = std::min(*finding.p, change->named.p_adjusted);
      deaf = deaf || is_deaf(*change);
    }
    finding.cause = cause_of(first, release, deaf);
    const std::string who = subject_text(first.series.unit);
    finding.brief = fmt::format("{} {} on {}", who, deaf ? "broken" : "off", first.night().name);
    finding.sentence = fmt::format(
        "In the night of {} alone {}{} was {}: {}.{}", first.night().name, who, first.where(),
        deaf ? "as good as broken" : "off", clauses, ending_of(first, release));
    return finding;
  }
  static Cause cause_of(const Change& change, bool release, bool deaf) {
    if (is_of_tapper(change.series.figure)) return Cause::tapper;
    if (release) return Cause::release;
    if (tapper_beside(change.trend, change.named).moved) return Cause::tapper;
    return deaf ? Cause::device : Cause::unknown;
  }
  static std::string ending_of(const Change& change, bool release) {
    std::string text;
    if (release) {
      text += fmt::format(" It is the only night of release {}.", change.point().release);
    }
    if (change.place + 1 == change.series.points.size()) {
      text += " It is the last night: the next ones will tell whether it lasts.";
    }
    if (!is_of_tapper(change.series.figure)) {
      text += tapper_beside(change.trend, change.named).words;
    }
    return text;
  }

  std::map<std::tuple<std::size_t, std::string, std::string>, std::vector<const Change*>> changes_;
};

std::string clock_hours(std::size_t from, std::size_t to) {
  return fmt::format("between {:02}:00 and {:02}:00", from, to % 24);
}

/// Named hours in a row are one finding; a row may go over midnight.
TrendFinding hours_finding(const Trend& trend, const AlarmHours& all, std::size_t from,
                           std::size_t length, double p) {
  std::uint64_t inside = 0;
  double inside_h = 0.0;
  std::uint64_t total = 0;
  double total_h = 0.0;
  std::size_t nights = 0;
  for (std::size_t hour = 0; hour < 24; ++hour) {
    const AlarmHours::Hour& one = all.hours[hour];
    total += one.incidents;
    total_h += one.quiet_hours;
    if ((hour + 24 - from) % 24 >= length) continue;
    inside += one.incidents;
    inside_h += one.quiet_hours;
    nights = std::max(nights, one.nights);
  }
  TrendFinding finding;
  finding.kind = FindingKind::alarm_hours;
  finding.cause = Cause::hour;
  finding.unit = all.unit;
  finding.rig = all.rig;
  finding.surface = all.surface;
  finding.scenario = all.scenario;
  finding.figure = Figure::alarms;
  finding.p = p;
  const std::string when = clock_hours(from, from + length);
  finding.brief = fmt::format("{}'s false alarms gather {}", all.unit, when);
  finding.sentence = fmt::format(
      "{}'s false alarms{} gather {}: {} of {} in {} of {} quiet, in {} at least ({} after "
      "Holm; each hour against the others, exact). Look for what happens then.",
      all.unit, where_text(trend, all.scenario, all.rig, all.surface), when, inside, total,
      hours_text(inside_h), hours_text(total_h), counted(nights, "night"), p_text(p));
  return finding;
}

void find_hours(Trend& trend, const AlarmHours& all, double p) {
  for (std::size_t hour = 0; hour < all.hours.size(); ++hour) {
    const auto named = [&](std::size_t at) { return all.hours[at % 24].named; };
    if (!named(hour) || named(hour + 23)) continue;
    std::size_t length = 1;
    while (length < 24 && named(hour + length)) ++length;
    trend.findings.push_back(hours_finding(trend, all, hour, length, p));
  }
}

}  // namespace

void find_changes(Trend& trend, const std::vector<NamedChange>& named) {
  std::vector<Change> changes;
  changes.reserve(named.size());
  for (const NamedChange& one : named) changes.emplace_back(trend, one);
  OddNights odd;
  std::vector<TrendFinding> found;
  for (const Change& change : changes) {
    switch (change.named.explanation.shape) {
      case Shape::one_night: odd.add(change); break;
      case Shape::step: found.push_back(step_finding(change)); break;
      case Shape::drift: found.push_back(drift_finding(change)); break;
      case Shape::scatter: found.push_back(scatter_finding(change)); break;
    }
  }
  odd.find(trend);
  for (TrendFinding& finding : found) trend.findings.push_back(std::move(finding));
  for (const TrendTest& test : trend.tests) {
    if (test.of_hours && test.named) find_hours(trend, trend.hours[test.series], test.p_adjusted);
  }
  for (const NamedChange& one : named) {
    TrendSeries& series = trend.series[one.stretch.series];
    const std::size_t place = one.stretch.points[one.explanation.at];
    if (one.explanation.shape == Shape::step) series.steps.push_back(place);
    if (one.explanation.shape == Shape::drift) series.drifts.push_back(place);
  }
}

}  // namespace plexor::analysis::history
