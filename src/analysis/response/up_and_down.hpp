#pragma once

#include <cstdint>
#include <optional>
#include <span>

namespace plexor::analysis {

/// One trial of an up-and-down series: one step down after a response, one up after a failure.
struct UpDownTrial {
  double strength = 0.0;
  bool responded = false;
};

/// Median and spread of the threshold from an up-and-down series. Dixon & Mood 1948, JASA 43:109:
/// from the rarer kind of trial (the responses where both are as frequent), with i steps above the
/// lowest of them: A = sum of i, B = sum of i^2.
struct UpDownEstimate {
  bool from_responses = false;
  std::uint64_t used = 0;  ///< N: trials of that kind
  std::uint64_t a = 0;
  std::uint64_t b = 0;
  double m = 0.0;              ///< (N B - A^2) / N^2
  double median = 0.0;         ///< strength at which half respond
  std::optional<double> sd{};  ///< of the threshold; nothing for m <= 0.3, where it is not valid
};
/// Nothing if there were only responses or only failures. `step` > 0; throws std::domain_error
/// otherwise.
[[nodiscard]] std::optional<UpDownEstimate> up_and_down(std::span<const UpDownTrial> trials,
                                                        double step);

}  // namespace plexor::analysis
