#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "analysis/comparing/comparable.hpp"
#include "analysis/comparing/run_evidence.hpp"
#include "analysis/comparing/two_sample.hpp"
#include "analysis/intervals.hpp"

namespace plexor::analysis {

/// How a candidate stands against its base.
enum class Relation : std::uint8_t {
  better,     ///< no worse, and above the base beyond chance
  no_worse,   ///< worse by less than the margin, at the confidence of the margins
  worse,      ///< below the base beyond chance, and not shown to be within the margin
  undecided,  ///< neither is shown
};
/// "better", "no worse", "worse", "undecided".
[[nodiscard]] std::string_view to_text(Relation relation);

/// One figure of one device in both releases.
struct ComparedFigure {
  std::string device;
  std::string figure;        ///< "detection rate", "latency", "false alarms per hour"
  std::string rhythm;        ///< empty: all that expect an event
  std::string unit;          ///< "" (share), "ms", "times"
  std::uint64_t base_n = 0;  ///< trials; for alarms: incidents
  std::uint64_t candidate_n = 0;
  std::optional<double> base;  ///< share of hits, median latency in ms, alarms per hour
  std::optional<double> candidate;
  /// Candidate minus base; of alarms candidate by base. Empty where there is none.
  std::optional<double> change;
  Interval interval;               ///< of the change, two-sided at the confidence of the margins
  std::optional<double> margin{};  ///< largest change for the worse that counts as no worse
  double p_worse = 1.0;            ///< one-sided: that chance alone makes it look as much worse
  double p_worse_adjusted = 1.0;   ///< after Holm, over all figures of the comparison
  double p_better = 1.0;
  bool decides = false;  ///< must be no worse for the whole to be; else it can only speak against
  Relation relation = Relation::undecided;
  std::string test;    ///< what p_worse comes from
  std::string reason;  ///< one sentence with the numbers
};

/// A quantile of the latencies in both releases, the unanswered at +infinity. Judges nothing.
struct ComparedQuantile {
  double p = 0.0;
  std::optional<double> base;  ///< ms
  std::optional<double> candidate;
  QuantileDifference change;  ///< candidate minus base, in ms
};

/// The latencies of one device in both releases.
struct ComparedLatencies {
  std::string device;
  std::vector<std::pair<double, double>> base_ecdf;  ///< as latency_ecdf: (ms, answered by then)
  std::vector<std::pair<double, double>> candidate_ecdf;
  std::vector<ComparedQuantile> quantiles;
};

/// Everything that is said about two releases.
struct Comparison {
  std::string scenario_name;
  journal::RigFacts rig;  ///< of the base's first run
  bool lifted = false;
  std::vector<std::string> base_runs;  ///< folders
  std::vector<std::string> candidate_runs;
  std::string base_version;  ///< of the devices, as the rig files name them
  std::string candidate_version;
  bool paired = false;  ///< the same taps in both, trial by trial
  scenario::Margins margins;
  std::vector<SettingDifference> differences;  ///< that do not spoil it
  std::vector<std::string> reservations;     ///< why it can't be decided, whatever the figures say
  std::vector<ComparedFigure> figures;       ///< by device: all rhythms first, then each
  std::vector<ComparedLatencies> latencies;  ///< by device
  Relation overall = Relation::undecided;
  std::string headline;
};

/// Compares two groups of runs, each of at least one. Paired where run by run the same was tapped:
/// Tango's interval and McNemar's exact test for detections; else Newcombe's and Boschloo's.
/// Latencies, the unanswered at +infinity: Hodges and Lehmann's shift, Mann and Whitney's test;
/// alarms: exact conditional ratio. A figure is no worse when its interval lies within the margin
/// (no correction: all must), worse when its one-sided p, adjusted after Holm, is below half
/// the error of the margins' confidence. Margins are those of the base's scenario. As one of
/// several `steps` of a search it may err that many times less. Throws base::InputError, naming
/// them, where differences of the settings, or several releases in one group, spoil the comparison,
/// and for runs that may stop early: all these tests are for numbers fixed beforehand.
[[nodiscard]] Comparison compare(std::span<const RunEvidence> base,
                                 std::span<const RunEvidence> candidate, std::uint32_t steps = 1);

}  // namespace plexor::analysis
