#include "judge/cluster.hpp"

#include <algorithm>
#include <cstdlib>
#include <utility>

namespace plexor::judge {

const std::vector<std::uint32_t>& ClusterMatcher::solve(std::span<const AnswerWindow> windows,
                                                        std::span<const base::Instant> arrivals) {
  windows_ = windows;
  arrivals_ = arrivals;
  answers_.assign(windows.size(), unmatched);
  find_reaches();
  narrow_reaches();
  solve_part({.windows = {0, static_cast<std::uint32_t>(windows.size())},
              .arrivals = {0, static_cast<std::uint32_t>(arrivals.size())}});
  return answers_;
}

void ClusterMatcher::find_reaches() {
  reaches_.clear();
  const auto count = static_cast<std::uint32_t>(arrivals_.size());
  Range reach;
  for (const AnswerWindow& window : windows_) {
    while (reach.first < count && arrivals_[reach.first] < window.opens) ++reach.first;
    while (reach.last < count && arrivals_[reach.last] <= window.closes) ++reach.last;
    reaches_.push_back(reach);
  }
}

std::uint32_t ClusterMatcher::count_most_matches() const {
  // Both ends of the reaches rise from window to window, so giving each window
  // in turn the earliest arrival left never costs a later match.
  std::uint32_t matches = 0;
  std::uint32_t next = 0;
  for (const Range& reach : reaches_) {
    const std::uint32_t arrival = std::max(next, reach.first);
    if (arrival >= reach.last) continue;
    next = arrival + 1;
    ++matches;
  }
  return matches;
}

void ClusterMatcher::narrow_reaches() {
  // A matching with m matches leaves out (windows - m) windows and (arrivals - m)
  // arrivals in all, so the k-th window's arrival is at most that far from the
  // k-th. Where nearly everything is answered, a wide reach shrinks to a few.
  const std::uint32_t most = count_most_matches();
  const std::uint32_t windows_left_out = static_cast<std::uint32_t>(reaches_.size()) - most;
  const std::uint32_t arrivals_left_out = static_cast<std::uint32_t>(arrivals_.size()) - most;
  for (std::uint32_t k = 0; k < reaches_.size(); ++k) {
    Range& reach = reaches_[k];
    if (k > windows_left_out) reach.first = std::max(reach.first, k - windows_left_out);
    if (k < most) reach.last = std::min(reach.last, k + arrivals_left_out + 1);
  }
}

ClusterMatcher::Range ClusterMatcher::reach_within(std::uint32_t window, const Part& part) const {
  return {std::max(reaches_[window].first, part.arrivals.first),
          std::min(reaches_[window].last, part.arrivals.last)};
}

std::size_t ClusterMatcher::cells(const Part& part) const {
  std::size_t sum = 0;
  for (std::uint32_t w = part.windows.first; w < part.windows.last; ++w)
    sum += reach_within(w, part).size();
  return sum;
}

std::int64_t ClusterMatcher::latency(std::uint32_t window, std::uint32_t arrival) const {
  return std::abs((arrivals_[arrival] - windows_[window].reference).count());
}

void ClusterMatcher::solve_part(const Part& part) {
  if (part.windows.empty() || part.arrivals.empty()) return;
  if (part.windows.size() == 1 || cells(part) <= max_table_) {
    sweep<true>(part, part.windows.last);
    trace_back(part);
    return;
  }
  // Too many decisions to keep: find out only where the best way passes the
  // middle window, then solve both halves (Hirschberg 1975, Comm ACM 18:341).
  const std::uint32_t middle = part.windows.first + part.windows.size() / 2;
  const std::uint32_t crossing = sweep<false>(part, middle).crossing;
  solve_part({{part.windows.first, middle}, {part.arrivals.first, crossing}});
  solve_part({{middle, part.windows.last}, {crossing, part.arrivals.last}});
}

/// Fills the row window by window; each window changes it only within its
/// reach. Further right, all arrivals are out of reach and the best way stays the same.
template <bool keep_steps>
ClusterMatcher::Best ClusterMatcher::sweep(const Part& part, std::uint32_t middle) {
  row_.assign(part.arrivals.size() + 1U, Best{.crossing = part.arrivals.first});
  steps_.clear();
  std::size_t filled = 0;
  for (std::uint32_t w = part.windows.first; w < part.windows.last; ++w) {
    if (w == middle) {
      for (std::uint32_t j = 0; j <= filled; ++j) row_[j].crossing = part.arrivals.first + j;
    }
    const Range reach = reach_within(w, part);
    if (reach.empty()) continue;
    for (; filled < reach.last - part.arrivals.first; ++filled) row_[filled + 1] = row_[filled];
    sweep_window<keep_steps>(w, reach, part.arrivals.first);
  }
  return row_[filled];
}

template <bool keep_steps>
void ClusterMatcher::sweep_window(std::uint32_t window, const Range& reach,
                                  std::uint32_t first_arrival) {
  Best* cell = &row_[reach.first - first_arrival];
  Best without_both = *cell;
  Best best = *cell;
  for (std::uint32_t arrival = reach.first; arrival < reach.last; ++arrival) {
    ++cell;
    const Best without_window = *cell;
    Best matched = without_both;
    ++matched.matches;
    matched.latency += latency(window, arrival);

    Step step = Step::skip_arrival;  // tried first, so that of equals the earlier arrival is taken
    if (without_window.better_than(best)) {
      best = without_window;
      step = Step::skip_window;
    }
    if (matched.better_than(best)) {
      best = matched;
      step = Step::match;
    }
    *cell = best;
    without_both = without_window;
    if constexpr (keep_steps) steps_.push_back(step);
  }
}

void ClusterMatcher::trace_back(const Part& part) {
  std::size_t reach_end = steps_.size();
  std::uint32_t left = part.arrivals.last;  // arrivals before this one are still free
  for (std::uint32_t w = part.windows.last; w-- > part.windows.first;) {
    const Range reach = reach_within(w, part);
    const std::size_t reach_begin = reach_end - reach.size();
    left = reach.empty() ? left : std::min(left, reach.last);
    while (!reach.empty() && left > reach.first) {
      const Step step = steps_[reach_begin + (left - 1 - reach.first)];
      if (step == Step::skip_window) break;
      --left;
      if (step == Step::match) {
        answers_[w] = left;
        break;
      }
    }
    reach_end = reach_begin;
  }
}

}  // namespace plexor::judge
