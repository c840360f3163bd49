#include "analysis/signal/trigger_advice.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <set>
#include <stdexcept>

#include "analysis/figures.hpp"
#include "analysis/number_text.hpp"
#include "analysis/signal/triggers.hpp"

namespace plexor::analysis {
namespace {

constexpr std::size_t most_thresholds = 80;
constexpr double weak_share = 0.01;
constexpr double lockout_share = 0.99;
constexpr double lockout_margin = 1.1;
constexpr double most_of_interval = 0.9;   // that a lockout may take up
constexpr double goes_on_s = 0.01;         // a crossing so near the end: it may not be the last
constexpr double contact_slack_s = 0.002;  // a trigger may precede the contact as known by this
constexpr double unknown_s = std::numeric_limits<double>::infinity();

double count_of(std::uint64_t n) { return static_cast<double>(n); }

/// One knock's own part of its trial.
struct KnockPart {
  std::size_t begin = 0;
  std::size_t end = 0;
  bool is_wanted = false;
};

struct PreparedTrial {
  std::span<const std::int32_t> values;
  double rate_hz = 0.0;
  QuietLevel level;
  std::vector<KnockPart> knocks;
};

PreparedTrial prepared(const RecordedTrial& trial, const QuietLevel& level, double softest_m_s) {
  PreparedTrial result{
      .values = trial.values, .rate_hz = trial.rate_hz, .level = level, .knocks = {}};
  const double slack = contact_slack_s * trial.rate_hz;
  for (const RecordedKnock& knock : trial.knocks) {
    if (knock.contact < 0.0 || knock.contact >= static_cast<double>(trial.values.size())) {
      throw std::domain_error("a knock must lie in its wave");
    }
    const auto begin = static_cast<std::size_t>(std::max(std::ceil(knock.contact - slack), 0.0));
    if (!result.knocks.empty()) result.knocks.back().end = begin;
    result.knocks.push_back(
        {.begin = begin, .end = trial.values.size(), .is_wanted = knock.strike_m_s >= softest_m_s});
  }
  return result;
}

/// All that was recorded, in the form that thresholds are tried on.
class Evidence {
 public:
  explicit Evidence(const AdviceQuestion& question);

  [[nodiscard]] std::size_t trials() const { return trials_.size(); }
  /// Of the wanted knocks, rising.
  [[nodiscard]] const std::vector<double>& peaks() const { return peaks_; }
  [[nodiscard]] std::size_t clipped() const { return clipped_; }
  [[nodiscard]] double background() const { return background_; }
  [[nodiscard]] double loudest() const { return loudest_; }
  [[nodiscard]] double quiet_hours() const { return quiet_hours_; }

  /// The lockout that the knocks need at a threshold; nothing where too many go on to their end.
  [[nodiscard]] Told<LockoutAdvice> lockout_at(double threshold) const;
  [[nodiscard]] TriggerChoice tried(double threshold) const;

 private:
  void look_at_quiet();
  void look_at_knocks();
  void count_trial(const PreparedTrial& trial, TriggerChoice& choice) const;
  void count_quiet(TriggerChoice& choice) const;

  const AdviceQuestion& question_;
  std::vector<PreparedTrial> trials_;
  std::vector<double> quiet_baselines_;
  std::vector<double> peaks_;
  std::size_t clipped_ = 0;
  double background_ = 0.0;
  double loudest_ = 0.0;
  double quiet_hours_ = 0.0;
};

double deviation(const PreparedTrial& trial, std::size_t i) {
  return std::abs(trial.values[i] - trial.level.baseline);
}

bool is_clipped(std::int32_t value, const Rails& rails, double baseline) {
  return (value <= rails.lowest && baseline > rails.lowest + 1.0) ||
         (value >= rails.highest && baseline < rails.highest - 1.0);
}

Evidence::Evidence(const AdviceQuestion& question) : question_(question) {
  for (const RecordedTrial& trial : question.trials) {
    const auto level = quiet_level(trial.values.first(std::min(trial.quiet, trial.values.size())));
    if (!level || trial.knocks.empty()) continue;
    trials_.push_back(prepared(trial, *level, question.softest_m_s));
  }
  look_at_quiet();
  look_at_knocks();
}

void Evidence::look_at_quiet() {
  for (const QuietStretch& stretch : question_.quiet) {
    std::vector<double> middles;
    for (std::size_t i = 0; i < stretch.lowest.size(); ++i) {
      middles.push_back(0.5 * stretch.lowest[i] + 0.5 * stretch.highest[i]);
    }
    std::ranges::sort(middles);
    const double baseline = middles.empty() ? 0.0 : middles[middles.size() / 2];
    quiet_baselines_.push_back(baseline);
    for (std::size_t i = 0; i < stretch.lowest.size(); ++i) {
      background_ =
          std::max({background_, baseline - stretch.lowest[i], stretch.highest[i] - baseline});
    }
    quiet_hours_ += static_cast<double>(stretch.lowest.size()) * stretch.bin_s / 3600.0;
  }
}

void Evidence::look_at_knocks() {
  double reach = 0.0;
  for (const PreparedTrial& trial : trials_) {
    reach = std::max(reach, trial.level.reach(trial.values.size()));
    for (const KnockPart& knock : trial.knocks) {
      double peak = 0.0;
      bool clipped = false;
      for (std::size_t i = knock.begin; i < knock.end; ++i) {
        peak = std::max(peak, deviation(trial, i));
        clipped |= is_clipped(trial.values[i], question_.rails, trial.level.baseline);
      }
      loudest_ = std::max(loudest_, peak);
      if (!knock.is_wanted) continue;
      peaks_.push_back(peak);
      clipped_ += clipped ? 1 : 0;
    }
  }
  if (!(quiet_hours_ > 0.0)) background_ = reach;
  background_ = std::max(background_, 1.0);
  std::ranges::sort(peaks_);
}

/// When a knock crosses the threshold first and last.
struct Crossing {
  double delay_s = 0.0;  ///< of the first after the contact
  double ring_s = 0.0;   ///< from the first to behind the last; infinite if it goes on to the end
};

std::optional<Crossing> crossing_of(const PreparedTrial& trial, const KnockPart& knock,
                                    double threshold) {
  std::size_t first = knock.begin;
  while (first < knock.end && deviation(trial, first) < threshold) ++first;
  if (first == knock.end) return std::nullopt;
  std::size_t last = knock.end - 1;
  while (deviation(trial, last) < threshold) --last;
  const double to_end = static_cast<double>(knock.end - 1 - last) / trial.rate_hz;
  const double ring = static_cast<double>(last + 1 - first) / trial.rate_hz;
  return Crossing{.delay_s = static_cast<double>(first - knock.begin) / trial.rate_hz,
                  .ring_s = to_end < goes_on_s ? double{unknown_s} : ring};
}

/// Rounded up, so that it still holds.
double whole_milliseconds(double seconds) { return std::ceil(seconds * 1e3 - 1e-6) / 1e3; }

Told<LockoutAdvice> Evidence::lockout_at(double threshold) const {
  std::vector<double> rings;
  double earliest = unknown_s;
  double latest = 0.0;
  for (const PreparedTrial& trial : trials_) {
    for (const KnockPart& knock : trial.knocks) {
      const auto crossing = crossing_of(trial, knock, threshold);
      if (!crossing) continue;
      rings.push_back(crossing->ring_s);
      earliest = std::min(earliest, crossing->delay_s);
      latest = std::max(latest, crossing->delay_s);
    }
  }
  if (rings.empty()) return {.value = std::nullopt, .why_not = "no knock reaches the threshold"};
  std::ranges::sort(rings);
  const std::uint64_t n = rings.size();
  LockoutAdvice advice{.knocks = n};
  const OrderRanks ranks = quantile_ranks(n, lockout_share, display_confidence, Sides::upper);
  const bool is_bounded = ranks.upper <= n;
  advice.quantile_s = *quantile_type7(rings, lockout_share);
  advice.bound_s = is_bounded ? rings[ranks.upper - 1] : rings.back();
  advice.share = is_bounded ? lockout_share : std::pow(1.0 - display_confidence, 1.0 / count_of(n));
  if (!std::isfinite(advice.bound_s)) {
    return {
        .value = std::nullopt,
        .why_not = fmt::format("{} of {} still rings at the threshold when the next knock comes "
                               "or the recording ends: record longer, with knocks further apart",
                               std::ranges::count(rings, unknown_s), counted(n, "knock"))};
  }
  advice.seconds = whole_milliseconds(lockout_margin * advice.bound_s);
  advice.shortest_interval_s = whole_milliseconds(advice.seconds + (latest - earliest));
  return {.value = advice, .why_not = {}};
}

void Evidence::count_trial(const PreparedTrial& trial, TriggerChoice& choice) const {
  const auto lockout = static_cast<std::size_t>(std::ceil(choice.lockout_s * trial.rate_hz));
  const auto triggers = triggers_in(trial.values, trial.level.baseline, choice.threshold, lockout);
  bool is_spoilt = false;
  for (const KnockPart& knock : trial.knocks) {
    const auto from = std::ranges::lower_bound(triggers, knock.begin);
    const auto own =
        static_cast<std::uint64_t>(std::ranges::lower_bound(triggers, knock.end) - from);
    if (own > 1) choice.extra += own - 1;
    is_spoilt |= own > 1;
    if (!knock.is_wanted) continue;
    ++choice.knocks;
    choice.missed += own == 0 ? 1 : 0;
    is_spoilt |= own == 0;
  }
  ++choice.trials;
  choice.spoilt += is_spoilt ? 1 : 0;
}

void Evidence::count_quiet(TriggerChoice& choice) const {
  choice.quiet_hours = quiet_hours_;
  if (!(quiet_hours_ > 0.0)) return;
  for (std::size_t i = 0; i < question_.quiet.size(); ++i) {
    const QuietStretch& stretch = question_.quiet[i];
    const auto bins = static_cast<std::size_t>(std::ceil(choice.lockout_s / stretch.bin_s));
    choice.false_triggers += triggers_in_bins(stretch.lowest, stretch.highest, quiet_baselines_[i],
                                              choice.threshold, bins)
                                 .size();
  }
  choice.false_per_hour =
      garwood(choice.false_triggers, quiet_hours_, display_confidence, Sides::two);
}

TriggerChoice Evidence::tried(double threshold) const {
  TriggerChoice choice{.threshold = threshold};
  const double most_s = question_.shortest_interval_s > 0.0
                            ? most_of_interval * question_.shortest_interval_s
                            : unknown_s;
  const auto needed = lockout_at(threshold);
  choice.lockout_s = std::min(needed ? needed->seconds : unknown_s, most_s);
  if (!std::isfinite(choice.lockout_s)) choice.lockout_s = 0.0;
  std::uint64_t all = 0;
  for (const PreparedTrial& trial : trials_) {
    count_trial(trial, choice);
    all += trial.knocks.size();
  }
  choice.miss_share = clopper_pearson(choice.missed, choice.knocks, display_confidence, Sides::two);
  choice.extra_per_knock = count_of(choice.extra) / count_of(all);
  count_quiet(choice);
  return choice;
}

/// From half the background to the loudest knock, in whole codes, each step as many dB.
std::vector<double> thresholds_between(double low, double high) {
  std::set<double> codes;
  const double ratio = std::max(high / low, 1.0);
  for (std::size_t i = 0; i < most_thresholds; ++i) {
    const double share = static_cast<double>(i) / (most_thresholds - 1);
    codes.insert(std::max(std::round(low * std::pow(ratio, share)), 1.0));
  }
  return {codes.begin(), codes.end()};
}

const TriggerChoice* choose(const TriggerAdvice& advice, double most_false_per_hour) {
  const TriggerChoice* best = nullptr;
  const double middle = 0.5 * std::log(advice.background_codes * advice.weak_peak_codes);
  const auto off_middle = [&](const TriggerChoice& choice) {
    return std::abs(std::log(choice.threshold) - middle);
  };
  for (const TriggerChoice& choice : advice.tried) {
    if (choice.counted_per_hour() > most_false_per_hour) continue;
    if (best == nullptr || choice.spoilt < best->spoilt ||
        (choice.spoilt == best->spoilt && off_middle(choice) < off_middle(*best))) {
      best = &choice;
    }
  }
  return best;
}

double decibels(double ratio) { return 20.0 * std::log10(ratio); }

std::string background_reason(const TriggerAdvice& advice, const TriggerChoice& chosen) {
  if (!chosen.false_per_hour) {
    return fmt::format(
        "nobody listened to quiet: the background is taken from the noise before the "
        "knocks, which reaches {:.0f} codes, and knows nothing of doors and steps",
        advice.background_codes);
  }
  return fmt::format(
      "in {} of quiet the background went up to {:.0f} codes; at the threshold it "
      "triggered {} times, and in the long run {:.3g} to {:.3g} times an hour",
      hours_text(chosen.quiet_hours), advice.background_codes, chosen.false_triggers,
      chosen.false_per_hour->lower, chosen.false_per_hour->upper);
}

std::string miss_reason(const TriggerChoice& chosen) {
  return fmt::format("at {:.0f} codes {} of {} go unheard ({} to {})", chosen.threshold,
                     chosen.missed, counted(chosen.knocks, "wanted knock"),
                     figure_text(chosen.miss_share.lower, ""),
                     figure_text(chosen.miss_share.upper, ""));
}

std::string gap_reason(const TriggerAdvice& advice, const TriggerChoice& chosen) {
  const double gap_db = decibels(advice.weak_peak_codes / advice.background_codes);
  if (gap_db > 0.0) {
    return fmt::format(
        "weak knocks peak at {:.0f} codes, {:.1f} dB above the background; {:.0f} is {:.1f} "
        "dB above the background and {:.1f} dB below them",
        advice.weak_peak_codes, gap_db, chosen.threshold,
        decibels(chosen.threshold / advice.background_codes),
        decibels(advice.weak_peak_codes / chosen.threshold));
  }
  return fmt::format(
      "weak knocks peak at {:.0f} codes, {:.1f} dB below the loudest background: no "
      "threshold keeps them apart, and this one spoils the fewest trials ({} of {})",
      advice.weak_peak_codes, -gap_db, chosen.spoilt, chosen.trials);
}

std::string ring_reason(const LockoutAdvice& lockout) {
  return fmt::format(
      "{} cross the threshold again for up to {:.0f} ms: with 95 % confidence {:.3g} % "
      "of all stay below that; a tenth more makes the lockout {:.0f} ms",
      counted(lockout.knocks, "knock"), lockout.bound_s * 1e3, 100.0 * lockout.share,
      lockout.seconds * 1e3);
}

std::string interval_reason(const LockoutAdvice& lockout, double shortest_s) {
  const double needed_ms = lockout.shortest_interval_s * 1e3;
  if (shortest_s > 0.0 && lockout.shortest_interval_s > shortest_s) {
    return fmt::format(
        "the rhythms have knocks {:.0f} ms apart, but here they must be at least "
        "{:.0f} ms apart for each to be heard once",
        shortest_s * 1e3, needed_ms);
  }
  return fmt::format("knocks at least {:.0f} ms apart are heard one by one", needed_ms);
}

void give_reasons(const AdviceQuestion& question, TriggerAdvice& advice) {
  const TriggerChoice& chosen = *advice.chosen;
  advice.reasons.push_back(gap_reason(advice, chosen));
  advice.reasons.push_back(background_reason(advice, chosen));
  advice.reasons.push_back(miss_reason(chosen));
  if (!advice.lockout) {
    advice.reasons.push_back("no lockout can be advised: " + advice.lockout.why_not);
    return;
  }
  advice.reasons.push_back(ring_reason(*advice.lockout));
  advice.reasons.push_back(interval_reason(*advice.lockout, question.shortest_interval_s));
}

std::string why_no_threshold(const Evidence& evidence) {
  if (evidence.trials() == 0) return "there are no recorded knocks with quiet before them";
  const std::size_t wanted = evidence.peaks().size();
  if (wanted == 0) return "no knock is as hard as those that are wanted to be heard";
  if (2 * evidence.clipped() > wanted) {
    return fmt::format(
        "{} of {} are clipped: how high they are is not known; turn the gain down or "
        "knock more softly",
        evidence.clipped(), counted(wanted, "wanted knock"));
  }
  return {};
}

}  // namespace

double TriggerChoice::spoilt_share() const {
  return trials == 0 ? 0.0 : count_of(spoilt) / count_of(trials);
}

double TriggerChoice::counted_per_hour() const {
  return quiet_hours > 0.0 ? count_of(false_triggers) / quiet_hours : 0.0;
}

TriggerAdvice advise_trigger(const AdviceQuestion& question) {
  const Evidence evidence(question);
  TriggerAdvice advice;
  advice.why_none = why_no_threshold(evidence);
  if (!advice.why_none.empty()) {
    advice.lockout.why_not = advice.why_none;
    return advice;
  }
  advice.background_codes = evidence.background();
  advice.weak_peak_codes = *quantile_type8(evidence.peaks(), weak_share);
  for (const double threshold :
       thresholds_between(0.5 * evidence.background(), evidence.loudest())) {
    advice.tried.push_back(evidence.tried(threshold));
  }
  const TriggerChoice* chosen = choose(advice, question.most_false_per_hour);
  if (chosen == nullptr || 2 * chosen->missed > chosen->knocks) {
    advice.why_none = fmt::format(
        "the background is as loud as the knocks: it goes up to {:.0f} codes, and half of the "
        "wanted "
        "knocks peak below {:.0f}",
        advice.background_codes, *quantile_type7(evidence.peaks(), 0.5));
    advice.lockout.why_not = advice.why_none;
    return advice;
  }
  advice.chosen = *chosen;
  advice.lockout = evidence.lockout_at(chosen->threshold);
  give_reasons(question, advice);
  return advice;
}

}  // namespace plexor::analysis
