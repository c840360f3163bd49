#pragma once

#include <cstdint>
#include <utility>
#include <vector>

#include "base/random.hpp"
#include "judge/matching.hpp"

namespace plexor::judge {

/// A tiny matching problem, with times in nanoseconds.
struct Problem {
  std::vector<AnswerWindow> windows;
  std::vector<base::Instant> arrivals;
};

inline base::Instant at(std::int64_t ns) { return base::Instant(base::Duration(ns)); }

/// Up to 5 windows and 6 arrivals, crowded so that most cases compete and tie.
Problem draw_problem(std::uint32_t number);

/// Pairs (window, arrival) in order.
using Pairs = std::vector<std::pair<std::uint32_t, std::uint32_t>>;

Pairs pairs_of(const std::vector<std::uint32_t>& answers);
std::int64_t total_latency(const Problem& problem, const Pairs& pairs);

/// The best pairs by trying all that are one to one, in order and within the windows. Of equally
/// good ones, the one whose last pair has the earlier arrival, then the earlier window, and so on
/// backwards.
Pairs try_everything(const Problem& problem);

}  // namespace plexor::judge
