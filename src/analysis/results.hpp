#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "analysis/history/run_figures.hpp"
#include "analysis/intervals.hpp"
#include "analysis/response/strength_curves.hpp"
#include "analysis/signal/channel_signal.hpp"
#include "analysis/soak/local_clock.hpp"
#include "analysis/uncertainty.hpp"
#include "base/outcome.hpp"
#include "base/time.hpp"
#include "base/trial.hpp"
#include "journal/reader.hpp"
#include "journal/records.hpp"

namespace plexor::analysis {

/// A share of trials with both intervals; estimate is empty for n = 0.
struct Proportion {
  std::uint64_t x = 0;
  std::uint64_t n = 0;
  std::optional<double> estimate;
  std::optional<Interval> exact;   ///< Clopper-Pearson, two-sided 95 %
  std::optional<Interval> wilson;  ///< two-sided 95 %, for display
};

/// How incidents scatter between hours of listening; see soak/hour_blocks.hpp.
struct HourScatter {
  std::uint64_t hours = 0;  ///< blocks of an hour of listening each
  double index = 0.0;       ///< Pearson's chi-square by its degrees: about 1 at one steady rate
  double p = 1.0;           ///< that one steady rate scatters at least as far
  std::optional<Interval> by_hours{};  ///< where they scatter too far: two-sided 95 %
};

/// Incidents in quiet listening time, marked disturbances left out.
struct AlarmRate {
  std::uint64_t incidents = 0;
  double hours = 0.0;
  std::optional<double> per_hour;
  std::optional<Interval> exact;         ///< Garwood, two-sided 95 %
  std::optional<HourScatter> scatter{};  ///< nothing where there are too few hours

  /// The one to show: the wider one where hours scatter further than one rate does.
  [[nodiscard]] const std::optional<Interval>& shown() const {
    return scatter && scatter->by_hours ? scatter->by_hours : exact;
  }
};

/// One percentile of the latency. With the unanswered at +infinity an estimate
/// or a bound may be infinite, which is written as null with `beyond` true.
struct Percentile {
  double p = 0.0;
  std::optional<double> ms;          ///< empty: no trials
  std::optional<Interval> interval;  ///< order statistics, two-sided 95 %, in ms
};

struct LatencyBin {
  double from_ms = 0.0;
  double to_ms = 0.0;
  std::uint64_t count = 0;
};

/// Latency of one device over the trials that expect an event.
struct Latency {
  std::uint64_t n = 0;                        ///< valid trials that expect an event
  std::uint64_t heard = 0;                    ///< hits among them
  std::vector<Percentile> percentiles;        ///< over all n, unanswered at +infinity
  std::vector<Percentile> heard_percentiles;  ///< over the hits only
  std::vector<LatencyBin> histogram;          ///< of the hits
  /// Steps of the empirical distribution over all n, at most 400 of them: (ms, share answered by
  /// then).
  std::vector<std::pair<double, double>> ecdf;
  double line_time_ms = 0.0;        ///< known part: time on the line
  double pattern_end_gap_ms = 0.0;  ///< known part: the device's own wait for the end of the rhythm
};

/// One rhythm (or distractor) as one device answered it.
struct RhythmResult {
  std::string rhythm;
  std::string expects;                                              ///< empty: distractor
  std::array<std::uint64_t, base::all_outcomes.size()> outcomes{};  ///< indexed by Outcome
  Proportion correct;  ///< hits, or correct rejections for a distractor
  std::uint64_t duplicates = 0;
  std::optional<double> median_ms;          ///< of the hits
  std::optional<Interval> median_interval;  ///< order statistics, two-sided 95 %, in ms
};

/// Detection against strike speed, in bins.
struct StrengthBin {
  double from_m_s = 0.0;
  double to_m_s = 0.0;
  Proportion detected;
};

enum class Judgement : std::uint8_t {
  pass,
  fail,
  undecided,
  measured,  ///< of a whole run that had nothing to judge: a surface scenario without limits
};

/// How a limit was tested while the run went on. Rates as the limit gives them: of what is counted.
struct SequentialVerdict {
  double good = 0.0;
  double bad = 0.0;
  double alpha = 0.0;
  double beta = 0.0;
  double within_ms = 0.0;      ///< of a latency; else 0
  double at_most = 0.0;        ///< trials (hours of quiet) in which the test ends; 0: it can't pass
  double used = 0.0;           ///< where it stopped, or how far it has come
  std::uint64_t failures = 0;  ///< until then: misses, late or wrong answers, alarms
};

/// One limit judged for one device.
struct Verdict {
  std::string device;
  std::string figure;     ///< "detection rate", "latency p95", "false alarms per hour", ...
  std::string unit;       ///< "", "ms", "/h"
  bool at_least = false;  ///< side of the limit
  double limit = 0.0;
  std::optional<double> estimate;  ///< empty: nothing was measured, or +infinity
  /// The one that judged: one-sided towards the limit, of latencies widened by their expanded
  /// uncertainty. Of a sequential test, which judges by itself: two-sided, for how it stopped, at
  /// a confidence with which a pass excludes the bad rate and a fail the good one.
  std::optional<Interval> interval;
  std::uint64_t n = 0;  ///< trials; for a rate: incidents
  Judgement judgement = Judgement::undecided;
  std::optional<std::uint64_t> more_needed;  ///< undecided: about how many more trials (for a rate:
                                             ///< hours) would decide at this estimate; sequential:
                                             ///< how many more the test takes at most
  std::optional<SequentialVerdict> sequential{};
  std::string reason;  ///< one sentence with the numbers
};

/// What one more listener of a device heard, compared with what the first one did, over the
/// trials that expect an event.
struct Beside {
  std::uint64_t both = 0;
  std::uint64_t only_here = 0;
  std::uint64_t only_first = 0;  ///< lost on the way to this one
  Percentile later;              ///< median of this latency less the first one's, over both
};

/// A device as one of its listeners heard it.
struct ListenerResult {
  std::string name;       ///< empty: the device has one, without a name
  std::string place;      ///< "port /dev/ttyUSB0"
  Budget latency_budget;  ///< of one latency, in ms
  Proportion detection;
  std::vector<RhythmResult> rhythms;
  Latency latency;
  AlarmRate false_alarms;
  std::optional<Beside> beside;  ///< nothing for the first
};

struct DeviceResult {
  std::string name;
  std::string version;
  Proportion detection;        ///< over all rhythms that expect an event
  Proportion false_responses;  ///< over all distractors
  Proportion confusions;
  std::vector<RhythmResult> rhythms;  ///< in the scenario's order
  /// rows: rhythm presented (scenario order); columns: event heard ("" nothing within the window),
  /// first the expected ones, then at most 20 others as they appeared, the rest as "other"; counts.
  std::vector<std::string> heard_names;
  std::vector<std::vector<std::uint64_t>> confusion;
  Latency latency;
  AlarmRate false_alarms;
  std::uint64_t disturbed_incidents = 0;  ///< in quiet, but in marked disturbances
  std::uint64_t gap_alarms = 0;
  std::uint64_t duplicates = 0;
  std::optional<double> d_prime;        ///< where there are distractors
  std::vector<std::string> remarks;     ///< what in its answers points to a cause; see remarks.hpp
  std::vector<StrengthBin> strength;    ///< by the mean strike speed of the trial
  std::vector<StrengthCurve> curves{};  ///< of a surface scenario, by spot and rhythm
  /// The first one's figures are the device's own. Several: the same event by two of them is
  /// one event with two latencies.
  std::vector<ListenerResult> listeners;
  std::array<HourOfDay, 24> by_hour_of_day{};  ///< undisturbed; empty where no wall clock is known
  std::uint32_t power_cycles = 0;
  double unheard_s = 0.0;  ///< how long its first listener could not hear it
};

/// Something a reader wants to find: a miss, a confusion, a false response, an alarm in quiet.
struct Finding {
  base::Instant at;  ///< first contact, or the alarm's arrival
  std::uint32_t segment = 0;
  double run_s = 0.0;  ///< the same moment on the run's own time
  std::uint32_t device = 0;
  std::string what;  ///< outcome's name, or "false alarm"
  base::TrialId trial;
  std::string rhythm;                ///< empty in quiet
  std::vector<double> commanded_ms;  ///< contact instants after the first
  std::vector<double> strike_m_s;
  std::vector<double> measured_ms;  ///< sensed contacts after the first; empty where not sensed
  std::string heard;                ///< event's name, empty for nothing
  std::optional<double> latency_ms;
  std::uint32_t duplicates = 0;
};

/// Trials and misses over the run, for the timeline: at most 240 stretches of equal length.
struct TimelineBin {
  double from_s = 0.0;
  double to_s = 0.0;
  std::uint64_t trials = 0;  ///< device answers judged
  std::uint64_t wrong = 0;   ///< not hit and not correct rejection
  std::uint64_t alarms = 0;  ///< incidents in quiet
};

/// One hour of the run's own time, as one device lived through it.
struct DeviceHour {
  Proportion detection;             ///< of the trials that expect an event
  std::optional<double> median_ms;  ///< their latency, the unanswered at +infinity
  AlarmRate false_alarms;
  std::uint64_t disturbed_incidents = 0;
};
struct RunHour {
  double from_s = 0.0;
  double to_s = 0.0;                 ///< of the last hour: the end of the run
  std::uint64_t trials = 0;          ///< valid, of rhythms
  std::optional<double> transit_ms;  ///< of the reference taps, else of all sensed contacts; mean
  std::optional<double> coil_c;      ///< modelled, at the taps; mean
  std::vector<DeviceHour> devices;
};

/// One figure's way through the run, and whether that is more than chance.
struct Drift {
  std::string device;       ///< empty: the tapper's own
  std::string figure;       ///< "false alarms per hour", "transit", ...
  std::string unit;         ///< "", "ms", "/h", "degC"
  std::string test;         ///< "Laplace", "Mann-Kendall"
  std::uint64_t n = 0;      ///< alarms, or hours
  double z = 0.0;           ///< above 0: it rises
  double p = 1.0;           ///< two-sided
  double adjusted_p = 1.0;  ///< after Holm, over all that was tested in this run
  double from = 0.0;        ///< where it began: Sen's line in the first hour; of alarms the rate in
  double to = 0.0;          ///< the first half of the listening; and in the last hour, second half
  bool found = false;
  std::string word;
};

/// Drift::figure of the device's own, where a history asks for them.
inline constexpr std::string_view alarms_drift = "false alarms per hour";
inline constexpr std::string_view detection_drift = "detection rate";

/// What the course of a long run shows.
struct SoakResults {
  std::vector<RunHour> hours;
  std::vector<Drift> drifts;  ///< all that was tested
  std::string drift_word;     ///< what moved and by how much, or that nothing did
};

/// Marked disturbances of one name.
struct DisturbedBy {
  std::string name;
  std::string by;  ///< "hand", or a line's name
  std::uint64_t marks = 0;
  double quiet_h = 0.0;         ///< listening that is left out for them
  std::uint64_t incidents = 0;  ///< of all devices, counted apart
};
/// One mark on the run's own time.
struct DisturbanceMark {
  double from_s = 0.0;
  double to_s = 0.0;
  std::uint32_t name = 0;  ///< index into Disturbances::by_name
};
struct Disturbances {
  std::vector<DisturbedBy> by_name;
  std::vector<DisturbanceMark> marks;  ///< the first max_findings
  double quiet_h = 0.0;                ///< all listening left out; overlaps count once
  std::uint64_t cut_short = 0;         ///< marks that reached back too far: see soak/marks.hpp
};

/// A device whose power was taken away and given back.
struct PowerCycled {
  std::uint32_t device = 0;
  double at_s = 0.0;  ///< on the run's own time
  std::string reason;
};

/// The tapper's transit and coil over the whole run; nothing where not measured.
struct TapperFigures {
  std::optional<double> transit_ms;
  std::optional<double> transit_sd_ms;
  std::optional<double> coil_c;
};

/// Everything that is said about one run. Derived from the journal alone.
struct Results {
  journal::Header header;
  std::optional<journal::Host> host;
  std::optional<journal::Ended> ended;  ///< empty: the journal just stops (killed)
  std::string scenario_name;
  std::string purpose;
  std::vector<scenario::Spot> spots{};  ///< none: the tapper stayed at the rig's spot
  std::uint64_t trials_valid = 0;       ///< rhythm trials that count
  std::uint64_t trials_planned = 0;     ///< as the scenario asks
  std::uint64_t trials_spared = 0;      ///< of these, not needed: what they were for was known
  bool may_stop_early = false;          ///< some limit is sequential
  /// Presentations of rhythms and quiet that don't count; indexed by VoidReason.
  std::array<std::uint64_t, base::all_void_reasons.size()> voids{};
  double void_fraction = 0.0;  ///< of all rhythm presentations
  double max_void_fraction = 0.0;
  double duration_s = 0.0;
  double quiet_hours = 0.0;  ///< valid; rates leave out what was disturbed of it
  double quiet_hours_planned = 0.0;
  std::vector<DeviceResult> devices;
  std::vector<ChannelSignal> channels{};  ///< what the waveforms say, where there are some
  std::vector<Verdict> verdicts;
  Judgement overall = Judgement::undecided;
  std::string headline;           ///< the answer in one sentence with its numbers
  std::vector<Finding> findings;  ///< the first max_findings, in order of time
  std::uint64_t findings_total = 0;
  std::vector<TimelineBin> timeline;
  bool is_live = false;       ///< the run still goes on: all this is so far
  LocalClock clock{};         ///< what people's clocks said meanwhile
  std::vector<Hole> holes{};  ///< stretches in which nobody watched
  Disturbances disturbances{};
  std::vector<PowerCycled> power_cycles{};  ///< the first max_findings
  TapperFigures tapper{};
  std::optional<SoakResults> soak{};  ///< of a soak scenario, or of a run longer than two hours
  journal::ReadSummary reading;       ///< damage found in the journal
  std::optional<journal::ReadSummary> waveforms_reading{};  ///< and in the waveforms, where read
};

inline constexpr std::size_t max_findings = 500;

[[nodiscard]] std::string_view to_text(Judgement judgement);
/// "detection rate" etc. are spelt in one place: verdicts.cpp.

}  // namespace plexor::analysis
