#include "judge/matching.hpp"

#include <cstddef>

#include "judge/cluster.hpp"

namespace plexor::judge {

namespace {

/// The cursor of one sweep over both arrays.
struct Sweep {
  std::size_t window = 0;   ///< windows before it are settled
  std::size_t arrival = 0;  ///< arrivals before it are taken, or too early for what is to come
};

/// Goes on while windows and arrivals don't compete, and stops at the first that do, or where a
/// look ahead would pass the end. Long runs spend nearly all their time here.
Sweep pass_lone_windows(Sweep at, std::span<const AnswerWindow> windows,
                        std::span<const base::Instant> arrivals, std::span<std::uint32_t> answers) {
  while (at.window + 1 < windows.size() && at.arrival + 1 < arrivals.size()) {
    const AnswerWindow& window = windows[at.window];
    const base::Instant arrival = arrivals[at.arrival];
    if (arrival < window.opens) {
      ++at.arrival;
    } else if (arrival > window.closes) {
      ++at.window;
    } else if (arrivals[at.arrival + 1] <= window.closes ||
               windows[at.window + 1].opens <= arrival) {
      return at;
    } else {
      answers[at.window] = static_cast<std::uint32_t>(at.arrival);
      ++at.window;
      ++at.arrival;
    }
  }
  return at;
}

}  // namespace

std::vector<std::uint32_t> match(std::span<const AnswerWindow> windows,
                                 std::span<const base::Instant> arrivals) {
  std::vector<std::uint32_t> answers(windows.size(), unmatched);
  ClusterMatcher matcher;
  for (Sweep at; at.window < windows.size() && at.arrival < arrivals.size();) {
    at = pass_lone_windows(at, windows, arrivals, answers);
    while (at.arrival < arrivals.size() && arrivals[at.arrival] < windows[at.window].opens)
      ++at.arrival;
    Sweep end = at;
    // The cluster: this window, and each next one that opens before the last arrival within reach.
    do {
      const base::Instant closes = windows[end.window].closes;
      while (end.arrival < arrivals.size() && arrivals[end.arrival] <= closes) ++end.arrival;
      ++end.window;
    } while (end.window < windows.size() && end.arrival > at.arrival &&
             windows[end.window].opens <= arrivals[end.arrival - 1]);

    const auto& found = matcher.solve(windows.subspan(at.window, end.window - at.window),
                                      arrivals.subspan(at.arrival, end.arrival - at.arrival));
    for (std::size_t i = 0; i < found.size(); ++i) {
      if (found[i] != unmatched)
        answers[at.window + i] = found[i] + static_cast<std::uint32_t>(at.arrival);
    }
    at = end;
  }
  return answers;
}

}  // namespace plexor::judge
