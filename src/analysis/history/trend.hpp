#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "analysis/history/run_figures.hpp"
#include "analysis/intervals.hpp"
#include "analysis/trend/chart_rules.hpp"
#include "analysis/trend/event_trend.hpp"
#include "analysis/trend/series_trend.hpp"

// What many nights say together: which of them stand out, what changed and when, and why.

namespace plexor::analysis {

/// What is followed from night to night. The last two are the tapper's, not a device's.
enum class Figure : std::uint8_t {
  detection,
  false_responses,
  confusions,
  alarms,       ///< false alarms per hour
  median,       ///< of latency
  p95,          ///< of latency
  transit,      ///< of the tapper's reference taps
  temperature,  ///< of its coil
};
/// "detection", "false responses", ..., "p95 latency", "coil temperature".
[[nodiscard]] std::string_view to_text(Figure figure);
/// "" (a share), "/h", "ms" or "degC".
[[nodiscard]] std::string_view unit_of(Figure figure);
[[nodiscard]] bool is_of_tapper(Figure figure);
/// "97.8 %", "2.25 per hour", "612 ms", "6.20 ms" of transit, "43.1 °C"; "not heard" for a latency
/// without end.
[[nodiscard]] std::string value_text(Figure figure, double value);

/// One run, or a night in which there should have been one.
struct TrendNight {
  std::string name;      ///< "2026-06-05"; "2026-06-05 (2)" for the second run of that night
  std::string date;      ///< without that
  std::int64_t day = 0;  ///< of the calendar, counted from the history's first night
  bool missing = false;  ///< no run: of `run` only the rig is set
  std::string left_out;  ///< why baseline and tests do without it; empty: they use it
  RunFigures run;
  std::vector<std::size_t> findings;  ///< which name it
};

/// One night's value of a series, with its place on the control chart.
struct TrendPoint {
  std::size_t night = 0;             ///< its place in Trend::nights
  std::string release;               ///< of the unit; of the tapper's series empty
  Counts counts;                     ///< x of n; alarms: x
  double hours = 0.0;                ///< of alarms: undisturbed quiet
  double value = 0.0;                ///< share, per hour, ms, degrees Celsius
  std::optional<Interval> interval;  ///< of counts, two-sided 95 %
  std::string left_out;              ///< why neither baseline nor tests use it; empty: they do
  ChartLimits limits;                ///< of the control chart
  double cusum_high = 0.0;           ///< in standard deviations of the chart
  double cusum_low = 0.0;
  double ewma = 0.0;             ///< likewise, about the centre
  std::vector<ChartRule> marks;  ///< looked at, no findings
};

/// What was looked at along a stretch of nights, and names nothing by itself.
struct TrendLook {
  std::string stretch;  ///< "all nights", "release 1.5"
  std::size_t nights = 0;
  MannKendall kendall;
  std::optional<SenSlope> sen;          ///< per night
  std::optional<LaplaceTrend> laplace;  ///< of alarms, each placed evenly within its night
};

/// One figure of one unit on one rig and surface with one scenario, from night to night.
struct TrendSeries {
  Figure figure = Figure::detection;
  std::string unit;  ///< empty: of the tapper
  std::string scenario;
  std::string rig;
  std::string surface;
  std::vector<TrendPoint> points;  ///< in order of time
  std::string baseline;            ///< how it was chosen, in words
  std::vector<std::size_t> baseline_points;
  std::optional<double> range_limit;  ///< moving range, of measured figures
  std::vector<std::size_t> steps;     ///< named: [i] the first point after each
  std::vector<std::size_t> drifts;    ///< named: the point at which each begins
  std::vector<TrendLook> looks;
};

/// False alarms of a unit by hour of the local day, over all nights that count.
struct AlarmHours {
  std::string unit;
  std::string scenario;
  std::string rig;
  std::string surface;
  struct Hour {
    double quiet_hours = 0.0;
    std::uint64_t incidents = 0;
    std::size_t nights = 0;  ///< with incidents in that hour
    double p = 1.0;  ///< that an even rate gives that hour so many; after Holm over those watched
    bool named = false;
  };
  std::vector<Hour> hours;  ///< 24
};

/// One test whose outcome may be named, with p after Holm over all that were judged with it.
struct TrendTest {
  std::size_t series = 0;  ///< its place in Trend::series; of alarm hours in Trend::hours
  bool of_hours = false;
  std::string what;       ///< "one night", "step", "drift", "scatter", "hours"
  std::string test;       ///< "largest deviance over all splits, exact", ...
  std::size_t round = 1;  ///< what was named in a round was taken out for the next
  double p = 1.0;
  double p_adjusted = 1.0;
  bool named = false;
};

enum class FindingKind : std::uint8_t {
  hole,           ///< nobody watched for a while
  bad_end,        ///< the run did not come to its end
  missing,        ///< no run in a night
  broken_device,  ///< hung, power-cycled, not heard
  odd_night,      ///< figures off in one night alone
  step,           ///< another level from a night on
  drift,          ///< falls or rises from night to night
  scatter,        ///< nights differ more than chance lets them
  alarm_hours,    ///< false alarms gather at an hour of the day
};
/// "hole", "bad-end", ..., "alarm-hours".
[[nodiscard]] std::string_view to_text(FindingKind kind);

enum class Cause : std::uint8_t {
  power_or_restart,
  program_killed,
  stopped,
  rig_fault,
  no_run,
  device,
  release,
  setting,  ///< mounting, spot, or this program's version changed
  tapper,
  hour,
  unknown,
};
/// "power cut or restart", ...
[[nodiscard]] std::string_view to_text(Cause cause);

/// Something that a reader must know in the morning.
struct TrendFinding {
  FindingKind kind = FindingKind::hole;
  Cause cause = Cause::unknown;
  std::string brief;                ///< "a power cut or restart on 2026-06-05": for the headline
  std::string sentence;             ///< with nights, cause and numbers
  std::vector<std::string> nights;  ///< which it names, in order: the first for a step or drift
  std::string unit;                 ///< empty: not of one device
  std::string release;
  std::string rig;
  std::string surface;
  std::string scenario;
  std::optional<Figure> figure;
  std::optional<double> p;  ///< after Holm; nothing for what the journals tell
};

struct TrendSettings {
  double alpha = 0.05;           ///< that anything at all is named of an unchanging history
  std::size_t least_nights = 5;  ///< of a series, for any test
  /// The nights asked for: without a run before the first or after the last one, they are missing
  /// too. Empty: the history begins with its first run, and ends with its last.
  std::string first_night = {};
  std::string last_night = {};
  /// False where only some devices or releases were asked for: others may have run in the nights
  /// between.
  bool tells_missing = true;
};

/// Everything that is said about a history.
struct Trend {
  TrendSettings settings;
  bool simulated = false;  ///< some of the runs are
  std::string headline;
  std::vector<TrendFinding> findings;  ///< in order of their first night
  std::vector<TrendNight> nights;      ///< runs and missing nights, in order of time
  std::vector<TrendSeries> series;
  std::vector<AlarmHours> hours;
  std::vector<TrendTest> tests;
  std::vector<std::string> remarks;  ///< what was left out, and what can't be said
  [[nodiscard]] std::size_t runs() const;
  [[nodiscard]] std::size_t missing_nights() const;
};

/// `runs` in order of time. What the journals tell (holes, ends, power cycles, missing nights) is
/// named as it is. What chance could do is named only where its p, adjusted after Holm over all
/// tests of its round, is at most alpha: so of a history in which nothing changes, anything is
/// named with a probability of at most alpha. In a series that shows several kinds of change the
/// one that explains most of it is named, and what is left is tested again as a new round. Counts
/// are tested exactly; where they scatter beyond chance about what is to be named, the scatter from
/// night to night must bear it out as well (quasi-likelihood: McCullagh & Nelder 1989, Generalized
/// Linear Models, section 4.5, from memory). Nights that the journals know to be broken are left
/// out of baselines and tests. Signals of the control charts are marks, never findings. Runs of a
/// lifted tapper, and runs whose night is not known, are left out with a remark.
[[nodiscard]] Trend trend_of(std::span<const RunFigures> runs, const TrendSettings& settings = {});

}  // namespace plexor::analysis
