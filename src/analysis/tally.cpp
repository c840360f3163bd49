#include "analysis/tally.hpp"

#include <algorithm>
#include <limits>
#include <numeric>
#include <utility>

#include "analysis/figures.hpp"
#include "analysis/latency.hpp"

namespace plexor::analysis {
namespace {

constexpr std::size_t most_unexpected_names = 20;
constexpr auto hit = static_cast<std::size_t>(base::Outcome::hit);
constexpr auto confused = static_cast<std::size_t>(base::Outcome::confusion);
constexpr auto rejected = static_cast<std::size_t>(base::Outcome::correct_rejection);
constexpr auto responded = static_cast<std::size_t>(base::Outcome::false_response);

template <typename Counts>
std::uint64_t sum(const Counts& counts) {
  return std::accumulate(counts.begin(), counts.end(), std::uint64_t{0});
}

}  // namespace

DeviceTally::DeviceTally(const journal::DeviceFacts& device,
                         const std::vector<scenario::Rhythm>& rhythms, bool calibrated)
    : device_(device), presented_(rhythms), calibrated_(calibrated), rhythms_(rhythms.size()) {
  name_columns(rhythms);
  for (RhythmTally& rhythm : rhythms_) rhythm.heard.resize(heard_names_.size());
}

void DeviceTally::name_columns(const std::vector<scenario::Rhythm>& rhythms) {
  heard_names_.emplace_back();
  for (const scenario::Rhythm& rhythm : rhythms) {
    const auto known = std::find(heard_names_.begin(), heard_names_.end(), rhythm.expects);
    if (known == heard_names_.end()) heard_names_.push_back(rhythm.expects);
  }
  expected_names_ = heard_names_.size();
}

std::size_t DeviceTally::column_of(const judge::Answer& answer) {
  // What comes after the window was not heard in it: a late answer counts as nothing here too.
  if (answer.heard.empty() || answer.outcome == base::Outcome::late) return 0;
  const auto known = std::find(heard_names_.begin(), heard_names_.end(), answer.heard);
  if (known != heard_names_.end()) return static_cast<std::size_t>(known - heard_names_.begin());
  const std::size_t unexpected = heard_names_.size() - expected_names_;
  if (unexpected > most_unexpected_names) return heard_names_.size() - 1;
  heard_names_.push_back(unexpected < most_unexpected_names ? answer.heard : "other");
  for (RhythmTally& rhythm : rhythms_) rhythm.heard.resize(heard_names_.size());
  return heard_names_.size() - 1;
}

void DeviceTally::rhythm_answer(std::uint32_t rhythm, base::StrikeSpeed mean_strike,
                                const judge::Answer& answer) {
  RhythmTally& tally = rhythms_[rhythm];
  ++tally.outcomes[static_cast<std::size_t>(answer.outcome)];
  ++tally.heard[column_of(answer)];
  tally.duplicates += answer.duplicates;
  gap_alarms_ += answer.gap_alarms;
  const bool is_hit = answer.outcome == base::Outcome::hit;
  if (is_hit) tally.hit_ms.push_back(base::to_ms(answer.latency.value()));
  if (calibrated_ && !presented_[rhythm].is_distractor()) strength_.count(mean_strike, is_hit);
}

void DeviceTally::quiet_answer(const judge::Answer& answer) {
  incidents_ += answer.incidents.size();
  gap_alarms_ += answer.gap_alarms;
}

RhythmResult DeviceTally::rhythm_result(std::size_t rhythm) {
  RhythmTally& tally = rhythms_[rhythm];
  const scenario::Rhythm& presented = presented_[rhythm];
  std::sort(tally.hit_ms.begin(), tally.hit_ms.end());
  const std::uint64_t correct = tally.outcomes[presented.is_distractor() ? rejected : hit];
  return {.rhythm = presented.name,
          .expects = presented.expects,
          .outcomes = tally.outcomes,
          .correct = proportion_of(correct, sum(tally.outcomes)),
          .duplicates = tally.duplicates,
          .median_ms = quantile_type7(tally.hit_ms, 0.5),
          .median_interval = median_interval(tally.hit_ms)};
}

void DeviceTally::add_up(DeviceResult& result) const {
  std::uint64_t signals = 0;
  std::uint64_t hits = 0;
  std::uint64_t confusions = 0;
  std::uint64_t distractors = 0;
  std::uint64_t responses = 0;
  for (const RhythmResult& rhythm : result.rhythms) {
    std::uint64_t& trials = rhythm.expects.empty() ? distractors : signals;
    trials += rhythm.correct.n;
    hits += rhythm.outcomes[hit];
    confusions += rhythm.outcomes[confused];
    responses += rhythm.outcomes[responded];
    result.duplicates += rhythm.duplicates;
  }
  result.detection = proportion_of(hits, signals);
  result.confusions = proportion_of(confusions, signals);
  result.false_responses = proportion_of(responses, distractors);
  result.d_prime = d_prime(hits, signals, responses, distractors);
}

std::vector<double> DeviceTally::all_latencies(std::uint64_t trials) const {
  std::vector<double> all;
  all.reserve(trials);
  for (const RhythmTally& rhythm : rhythms_) {
    all.insert(all.end(), rhythm.hit_ms.begin(), rhythm.hit_ms.end());
  }
  std::sort(all.begin(), all.end());
  all.resize(trials, std::numeric_limits<double>::infinity());
  return all;
}

DeviceEvidence DeviceTally::evidence(base::Duration listened) && {
  DeviceEvidence evidence;
  DeviceResult& result = evidence.result;
  result.name = device_.name;
  result.version = device_.version;
  for (std::size_t i = 0; i < rhythms_.size(); ++i) result.rhythms.push_back(rhythm_result(i));
  add_up(result);
  result.heard_names = std::move(heard_names_);
  for (RhythmTally& rhythm : rhythms_) result.confusion.push_back(std::move(rhythm.heard));
  evidence.latencies = all_latencies(result.detection.n);
  result.latency = summarise_latency(evidence.latencies, device_);
  result.false_alarms = alarm_rate_of(incidents_, listened);
  result.gap_alarms = gap_alarms_;
  result.strength = strength_.bins();
  return evidence;
}

}  // namespace plexor::analysis
