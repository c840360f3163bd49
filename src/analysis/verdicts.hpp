#pragma once

#include <cstdint>
#include <functional>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "analysis/results.hpp"
#include "analysis/tally.hpp"
#include "judge/sequential_limits.hpp"
#include "scenario/scenario.hpp"

namespace plexor::analysis {

/// A verdict, and how to say it as a sentence of its own.
struct Judged {
  Verdict verdict;
  /// "panel heard 271 of 320 knocks (84.7 %, at most 87.9 % with 95 % confidence; limit 95 %)"
  std::string said;
};

/// Each limit for each device. A sequential limit is judged by its test alone, and estimated as its
/// stop asks for (judge/sequential_estimate.hpp). Of a fixed limit: passed when the one-sided bound
/// of the limit's confidence clears the limit (equality clears), failed when the other one-sided
/// bound of that confidence lies beyond it, else undecided. The bounds of a latency are moved
/// outwards by the expanded uncertainty (95 %) of one latency: guarded acceptance, JCGM 106:2012,
/// 8.3.2 (from memory), on both sides. Limits in the order detection,
/// latencies, false alarms, false responses, confusions; devices in the rig's order.
[[nodiscard]] std::vector<Judged> judge_limits(const scenario::Accept& accept,
                                               std::span<const DeviceEvidence> devices,
                                               const judge::SequentialLimits& sequential);

/// "about 960 more trials would decide", of a sequential test "a plan of 772 trials always
/// decides"; empty where more_needed is.
[[nodiscard]] std::string what_would_decide(const Verdict& verdict);

/// About the fewest more (trials, hours) for which `decides(more)` holds: doubling, then
/// bisection, up to 10^7; nothing if even that does not decide. `decides(0)` must be false.
[[nodiscard]] std::optional<std::uint64_t> fewest_more(
    const std::function<bool(std::uint64_t more)>& decides);

}  // namespace plexor::analysis
