#include "analysis/listeners.hpp"

#include <algorithm>
#include <utility>

#include "analysis/latency.hpp"

namespace plexor::analysis {

void BesideTally::count(const judge::Answer& first, const judge::Answer& other) {
  const bool by_first = first.outcome == base::Outcome::hit;
  const bool by_other = other.outcome == base::Outcome::hit;
  if (by_first && by_other) {
    ++counts_.both;
    later_ms_.push_back(base::to_ms(other.latency.value() - first.latency.value()));
  } else if (by_other) {
    ++counts_.only_here;
  } else if (by_first) {
    ++counts_.only_first;
  }
}

Beside BesideTally::result() && {
  std::sort(later_ms_.begin(), later_ms_.end());
  counts_.later = {
      .p = 0.5, .ms = quantile_type7(later_ms_, 0.5), .interval = median_interval(later_ms_)};
  return counts_;
}

ListenersTally::ListenersTally(const journal::DeviceFacts& device,
                               const std::vector<scenario::Rhythm>& rhythms,
                               const journal::RigFacts& rig)
    : rig_(rig), presented_(rhythms), facts_(device.listeners) {
  if (facts_.empty()) facts_.emplace_back();
  for (std::size_t i = 0; i < facts_.size(); ++i) {
    tallies_.emplace_back(device, rhythms, rig.calibrated);
  }
  beside_.resize(facts_.size() - 1);
}

void ListenersTally::rhythm_answer(std::uint32_t rhythm, base::StrikeSpeed mean_strike,
                                   const judge::Answer& answer) {
  tallies_.front().rhythm_answer(rhythm, mean_strike, answer);
  for (std::size_t other = 0; other < beside_.size(); ++other) {
    tallies_[other + 1].rhythm_answer(rhythm, mean_strike, answer.beside[other]);
    if (!presented_[rhythm].is_distractor()) beside_[other].count(answer, answer.beside[other]);
  }
}

void ListenersTally::quiet_answer(const judge::Answer& answer) {
  tallies_.front().quiet_answer(answer);
  for (std::size_t other = 0; other < beside_.size(); ++other) {
    tallies_[other + 1].quiet_answer(answer.beside[other]);
  }
}

ListenerResult ListenersTally::result_of(std::size_t listener, const DeviceResult& result) const {
  return {.name = facts_[listener].name,
          .place = facts_[listener].place,
          .latency_budget = latency_budget(rig_, facts_[listener]),
          .detection = result.detection,
          .rhythms = result.rhythms,
          .latency = result.latency,
          .false_alarms = result.false_alarms,
          .beside = {}};
}

DeviceEvidence ListenersTally::evidence(base::Duration listened) && {
  DeviceEvidence evidence = std::move(tallies_.front()).evidence(listened);
  evidence.result.listeners.push_back(result_of(0, evidence.result));
  for (std::size_t other = 0; other < beside_.size(); ++other) {
    const DeviceEvidence heard = std::move(tallies_[other + 1]).evidence(listened);
    ListenerResult& listener =
        evidence.result.listeners.emplace_back(result_of(other + 1, heard.result));
    listener.beside = std::move(beside_[other]).result();
  }
  return evidence;
}

}  // namespace plexor::analysis
