#pragma once

#include <array>
#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "analysis/intervals.hpp"
#include "analysis/response/strength_curves.hpp"
#include "analysis/signal/channel_signal.hpp"
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

/// Incidents in quiet listening time.
struct AlarmRate {
  std::uint64_t incidents = 0;
  double hours = 0.0;
  std::optional<double> per_hour;
  std::optional<Interval> exact;  ///< Garwood, two-sided 95 %
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
  std::uint64_t gap_alarms = 0;
  std::uint64_t duplicates = 0;
  std::optional<double> d_prime;        ///< where there are distractors
  std::vector<std::string> remarks;     ///< what in its answers points to a cause; see remarks.hpp
  std::vector<StrengthBin> strength;    ///< by the mean strike speed of the trial
  std::vector<StrengthCurve> curves{};  ///< of a surface scenario, by spot and rhythm
  /// The first one's figures are the device's own. Several: the same event by two of them is
  /// one event with two latencies.
  std::vector<ListenerResult> listeners;
};

/// Something a reader wants to find: a miss, a confusion, a false response, an alarm in quiet.
struct Finding {
  base::Instant at;  ///< first contact, or the alarm's arrival
  std::uint32_t segment = 0;
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
  double quiet_hours = 0.0;
  double quiet_hours_planned = 0.0;
  std::vector<DeviceResult> devices;
  std::vector<ChannelSignal> channels{};  ///< what the waveforms say, where there are some
  std::vector<Verdict> verdicts;
  Judgement overall = Judgement::undecided;
  std::string headline;           ///< the answer in one sentence with its numbers
  std::vector<Finding> findings;  ///< the first max_findings, in order of time
  std::uint64_t findings_total = 0;
  std::vector<TimelineBin> timeline;
  journal::ReadSummary reading;                             ///< damage found in the journal
  std::optional<journal::ReadSummary> waveforms_reading{};  ///< and in the waveforms, where read
};

inline constexpr std::size_t max_findings = 500;

[[nodiscard]] std::string_view to_text(Judgement judgement);
/// "detection rate" etc. are spelt in one place: verdicts.cpp.

}  // namespace plexor::analysis
