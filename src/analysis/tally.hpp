#pragma once

#include <array>
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "analysis/results.hpp"
#include "analysis/strength.hpp"
#include "base/strike_speed.hpp"
#include "journal/records.hpp"
#include "judge/judge.hpp"
#include "scenario/scenario.hpp"

namespace plexor::analysis {

/// What a device's answers add up to: its result, and the latencies that its limits are judged by.
struct DeviceEvidence {
  DeviceResult result;
  /// One value in ms for each valid trial that expects an event, rising, +infinity where not a hit.
  std::vector<double> latencies;
};

/// Counts one device's answers to valid trials, as one of its listeners heard them, in a few
/// bytes a trial.
class DeviceTally {
 public:
  DeviceTally(const journal::DeviceFacts& device, const std::vector<scenario::Rhythm>& rhythms,
              bool calibrated);

  /// A trial of this rhythm; `mean_strike` of its taps.
  void rhythm_answer(std::uint32_t rhythm, base::StrikeSpeed mean_strike,
                     const judge::Answer& answer);
  void quiet_answer(const judge::Answer& answer);

  /// `listened`: all valid quiet.
  [[nodiscard]] DeviceEvidence evidence(base::Duration listened) &&;

 private:
  struct RhythmTally {
    std::array<std::uint64_t, base::all_outcomes.size()> outcomes{};
    std::uint64_t duplicates = 0;
    std::vector<double> hit_ms;
    std::vector<std::uint64_t> heard;  ///< by column
  };

  void name_columns(const std::vector<scenario::Rhythm>& rhythms);
  [[nodiscard]] std::size_t column_of(const judge::Answer& answer);
  [[nodiscard]] RhythmResult rhythm_result(std::size_t rhythm);
  void add_up(DeviceResult& result) const;
  [[nodiscard]] std::vector<double> all_latencies(std::uint64_t trials) const;

  journal::DeviceFacts device_;
  const std::vector<scenario::Rhythm>& presented_;
  bool calibrated_;
  std::vector<std::string> heard_names_;
  std::size_t expected_names_ = 0;  ///< columns known beforehand
  std::vector<RhythmTally> rhythms_;
  StrengthTally strength_;
  std::uint64_t incidents_ = 0;
  std::uint64_t gap_alarms_ = 0;
};

}  // namespace plexor::analysis
