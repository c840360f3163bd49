#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "scenario/scenario.hpp"

namespace plexor::analysis {

/// What a scenario's plan can show about one of its limits, before a single tap.
/// Exact: by the same bounds that will judge.
struct Provable {
  std::string figure;  ///< as in Verdict::figure
  std::string limit;   ///< "at least 95 %"
  bool can_pass = false;
  double planned = 0.0;  ///< trials; hours of quiet for a rate
  /// Fewest trials (hours) with which a perfect device passes; nothing if no number is enough.
  std::optional<double> needed;
  /// Most failures (misses, answers, late answers, incidents) with which it still passes;
  /// nothing if it can't pass.
  std::optional<std::uint64_t> allowed;
  /// Of a device that is better than its limit: as [accept] expects, else failing half as often as
  /// the limit allows. Failures per trial, incidents per hour.
  double expected = 0.0;
  double power = 0.0;            ///< with which it passes this plan
  std::optional<double> for_80;  ///< trials (hours) with which it passes with a power of 80 %
  std::optional<double> for_95;  ///< and of 95 %
  std::string sentence;          ///< all of this in words, with what to change where it can't pass
  std::string power_sentence;    ///< how surely a good device passes; empty where none can
};

/// One entry for each limit of [accept], in the order of the verdicts.
[[nodiscard]] std::vector<Provable> what_can_be_proved(const scenario::Scenario& scenario);

}  // namespace plexor::analysis
