#pragma once

#include <cstdint>
#include <vector>

#include "analysis/tally.hpp"
#include "journal/records.hpp"
#include "judge/judge.hpp"
#include "scenario/scenario.hpp"

namespace plexor::analysis {

/// Compares, trial by trial, what one more listener heard with what the first did.
class BesideTally {
 public:
  /// Of a trial that expects an event.
  void count(const judge::Answer& first, const judge::Answer& other);
  [[nodiscard]] Beside result() &&;

 private:
  Beside counts_;
  std::vector<double> later_ms_;
};

/// Counts one device's answers to valid trials, by each of its listeners.
class ListenersTally {
 public:
  ListenersTally(const journal::DeviceFacts& device, const std::vector<scenario::Rhythm>& rhythms,
                 const journal::RigFacts& rig);

  [[nodiscard]] std::uint32_t listeners() const {
    return static_cast<std::uint32_t>(tallies_.size());
  }

  /// As for DeviceTally.
  void rhythm_answer(std::uint32_t rhythm, base::StrikeSpeed mean_strike,
                     const judge::Answer& answer);
  void quiet_answer(const judge::Answer& answer);
  [[nodiscard]] DeviceEvidence evidence(base::Duration listened) &&;

 private:
  [[nodiscard]] ListenerResult result_of(std::size_t listener, const DeviceResult& result) const;

  const journal::RigFacts& rig_;
  const std::vector<scenario::Rhythm>& presented_;
  std::vector<journal::ListenerFacts> facts_;
  std::vector<DeviceTally> tallies_;  ///< by listener
  std::vector<BesideTally> beside_;   ///< by listener, from the second on
};

}  // namespace plexor::analysis
