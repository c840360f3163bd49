#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "analysis/intervals.hpp"
#include "analysis/signal/tap_signal.hpp"

// Which threshold and lockout a detector should have on this surface. For a detector that flags
// |value - baseline| >= threshold and is then deaf for the lockout (triggers.hpp).

namespace plexor::analysis {

/// One knock of a recorded trial.
struct RecordedKnock {
  double contact = 0.0;  ///< samples from the wave's begin; may lie between samples
  double strike_m_s = 0.0;
};

struct RecordedTrial {
  std::span<const std::int32_t> values{};
  double rate_hz = 0.0;
  std::size_t quiet = 0;  ///< so many samples from the begin were taken before anything moved
  std::vector<RecordedKnock> knocks{};  ///< in order of time
};

/// Lowest and highest codes of bins of time in which nobody knocked.
struct QuietStretch {
  std::span<const std::int32_t> lowest{};
  std::span<const std::int32_t> highest{};
  double bin_s = 0.0;
};

struct AdviceQuestion {
  std::span<const RecordedTrial> trials{};
  std::span<const QuietStretch> quiet{};
  double softest_m_s = 0.0;          ///< knocks at least so hard are wanted to be heard
  double shortest_interval_s = 0.0;  ///< between two knocks of any rhythm; 0: each has only one
  double most_false_per_hour = 1.0;
  Rails rails{};
};

/// One threshold tried on everything recorded.
struct TriggerChoice {
  double threshold = 0.0;  ///< codes from the baseline
  double lockout_s = 0.0;  ///< tried with it: what is needed there, at most what the rhythms allow
  std::uint64_t missed = 0;      ///< wanted knocks without a trigger of their own
  std::uint64_t knocks = 0;      ///< wanted ones
  Interval miss_share{};         ///< Clopper-Pearson, two-sided 95 %
  std::uint64_t extra = 0;       ///< triggers that no knock stands for, up to the wave's end
  double extra_per_knock = 0.0;  ///< of all knocks, wanted or not
  std::uint64_t spoilt = 0;      ///< trials in which a wanted knock is missed, or with an extra one
  std::uint64_t trials = 0;
  std::uint64_t false_triggers = 0;  ///< in quiet
  double quiet_hours = 0.0;
  std::optional<Interval> false_per_hour{};  ///< Garwood, two-sided 95 %; nothing without quiet

  [[nodiscard]] double spoilt_share() const;
  /// As counted; 0 without quiet.
  [[nodiscard]] double counted_per_hour() const;
};

/// How long a knock goes on to cross the threshold after its first crossing.
struct LockoutAdvice {
  double seconds = 0.0;     ///< the bound with its margin, rounded up to whole milliseconds
  double quantile_s = 0.0;  ///< 99 % of knocks are over by then, as counted
  /// Not exceeded by the share below at 95 % confidence (order statistic): the bound of the 99 %
  /// quantile where there are at least 299 knocks, otherwise the longest.
  double bound_s = 0.0;
  double share = 0.0;
  std::uint64_t knocks = 0;
  /// Knocks may follow each other so soon and each is heard: the lockout, and what one knock's
  /// trigger may come later after its contact than another's.
  double shortest_interval_s = 0.0;
};

struct TriggerAdvice {
  std::optional<TriggerChoice> chosen{};
  std::string why_none{};              ///< empty where there is advice
  Told<LockoutAdvice> lockout{};       ///< at the chosen threshold
  std::vector<std::string> reasons{};  ///< plain sentences with numbers
  std::vector<TriggerChoice> tried{};  ///< by rising threshold, at most 80: the ROC
  double background_codes =
      0.0;  ///< farthest from the baseline in quiet (without any: noise's reach)
  double weak_peak_codes =
      0.0;  ///< 1 % of wanted knocks peak below (the lowest, if fewer than 100)
};

/// Tries thresholds on all that was recorded and chooses by this rule:
/// 1. Only thresholds with at most `most_false_per_hour` false triggers, as counted, are looked at.
/// 2. Of these, those with the least share of spoilt trials.
/// 3. Of these, the one nearest halfway, in dB, between background and weak knocks.
/// No advice without knocks, where more than half of the wanted ones are clipped, and where the
/// background is as loud as the knocks: each threshold that is quiet enough misses more than half.
/// Throws std::domain_error for knocks outside their wave.
[[nodiscard]] TriggerAdvice advise_trigger(const AdviceQuestion& question);

}  // namespace plexor::analysis
