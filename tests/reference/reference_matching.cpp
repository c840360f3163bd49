#include <fmt/format.h>
#include <algorithm>
#include <cmath>

#include "judge/matching.hpp"
#include "reference/reference_check.hpp"

namespace plexor::reference {

namespace {

/// The files give plain numbers in some unit; a tick is a thousandth of it, so decimals survive.
constexpr double ticks_per_unit = 1000.0;

base::Duration ticks(double value) { return base::Duration(std::llround(value * ticks_per_unit)); }

/// A row's problem, sorted, and what match() makes of it.
struct Matched {
  std::vector<judge::AnswerWindow> windows;
  std::vector<base::Instant> arrivals;
  std::vector<std::uint32_t> answers;
};

Matched matched(const Inputs& in) {
  std::vector<double> stimuli = in.numbers("stimuli");
  std::vector<double> responses = in.numbers("responses");
  const std::vector<double> window = in.numbers("window");
  if (window.size() != 2)
    throw base::InputError(in.place(), "window=" + in.text("window"), "two numbers, low and high");
  std::ranges::sort(stimuli);
  std::ranges::sort(responses);
  Matched result;
  for (const double stimulus : stimuli) {
    const base::Instant reference(ticks(stimulus));
    result.windows.push_back(
        {reference + ticks(window[0]), reference, reference + ticks(window[1])});
  }
  for (const double response : responses) result.arrivals.emplace_back(ticks(response));
  result.answers = judge::match(result.windows, result.arrivals);
  return result;
}

std::size_t pair_count(const Matched& m) {
  return m.answers.size() -
         static_cast<std::size_t>(std::ranges::count(m.answers, judge::unmatched));
}

std::int64_t latency(const Matched& m, std::size_t window, std::size_t arrival) {
  return std::abs((m.arrivals[arrival] - m.windows[window].reference).count());
}

std::int64_t total_latency(const Matched& m) {
  std::int64_t total = 0;
  for (std::size_t w = 0; w < m.answers.size(); ++w)
    if (m.answers[w] != judge::unmatched) total += latency(m, w, m.answers[w]);
  return total;
}

Answer pairs(const Inputs& in) {
  const Matched m = matched(in);
  std::string text;
  for (std::size_t w = 0; w < m.answers.size(); ++w)
    if (m.answers[w] != judge::unmatched)
      text += fmt::format("{}{}-{}", text.empty() ? "" : " ", w, m.answers[w]);
  return text.empty() ? "none" : text;
}

/// The best that can be had from some windows and arrivals, and in how many ways.
struct Ways {
  std::size_t pairs = 0;
  std::int64_t latency = 0;
  double count = 1.0;

  void add(const Ways& other) {
    if (other.pairs == pairs && other.latency == latency) {
      count += other.count;
    } else if (other.pairs > pairs || (other.pairs == pairs && other.latency < latency)) {
      *this = other;
    }
  }
};

/// How many matchings are exactly as good as match()'s, by a count of its own; 0 if a better one
/// exists. Each window takes each arrival within reach in turn, or none.
Answer count_equally_good(const Inputs& in) {
  const Matched m = matched(in);
  const std::size_t arrivals = m.arrivals.size();
  std::vector<Ways> later(arrivals + 1);  // by first arrival left, for the windows after this one
  for (std::size_t w = m.windows.size(); w-- > 0;) {
    std::vector<Ways> now = later;
    for (std::size_t first = 0; first <= arrivals; ++first) {
      for (std::size_t a = first; a < arrivals; ++a) {
        if (m.arrivals[a] < m.windows[w].opens || m.arrivals[a] > m.windows[w].closes) continue;
        now[first].add(
            {later[a + 1].pairs + 1, later[a + 1].latency + latency(m, w, a), later[a + 1].count});
      }
    }
    later = now;
  }
  const Ways& best = later.front();
  const bool as_good = best.pairs == pair_count(m) && best.latency == total_latency(m);
  return as_good ? best.count : 0.0;
}

double as_double(std::size_t count) { return static_cast<double>(count); }

}  // namespace

std::vector<Handler> matching_handlers() {
  using In = const Inputs&;
  constexpr std::string_view needs = "stimuli responses window";
  return {
      {"", "n_pairs", needs, [](In in) -> Answer { return as_double(pair_count(matched(in))); }},
      {"", "n_missed", needs,
       [](In in) -> Answer {
         const Matched m = matched(in);
         return as_double(m.windows.size() - pair_count(m));
       }},
      {"", "n_unmatched_responses", needs,
       [](In in) -> Answer {
         const Matched m = matched(in);
         return as_double(m.arrivals.size() - pair_count(m));
       }},
      {"", "total_abs_latency", needs,
       [](In in) -> Answer {
         return static_cast<double>(total_latency(matched(in))) / ticks_per_unit;
       }},
      {"", "n_optimal_monotone_assignments", needs, count_equally_good},
      {"", "pairs_0based", needs, pairs},
  };
}

}  // namespace plexor::reference
