#include "judge/exhaustive_matching.hpp"

#include <algorithm>
#include <chrono>

namespace plexor::judge {

namespace {

/// Draws numbers one after the other under one key.
class Draws {
 public:
  explicit Draws(std::uint32_t number) : number_(number) {}
  std::int64_t between(std::int64_t low, std::int64_t high) {
    return base::uniform_between({.seed = 77, .trial = number_, .tap = tap_++}, low, high);
  }

 private:
  std::uint32_t number_;
  std::uint32_t tap_ = 0;
};

bool better(const Problem& problem, const Pairs& a, const Pairs& b) {
  if (a.size() != b.size()) return a.size() > b.size();
  const std::int64_t latency_a = total_latency(problem, a);
  const std::int64_t latency_b = total_latency(problem, b);
  if (latency_a != latency_b) return latency_a < latency_b;
  const auto arrival_first = [](auto x, auto y) {
    return std::pair(x.second, x.first) < std::pair(y.second, y.first);
  };
  return std::lexicographical_compare(a.rbegin(), a.rend(), b.rbegin(), b.rend(), arrival_first);
}

void extend(const Problem& problem, std::uint32_t window, std::uint32_t arrival, Pairs& pairs,
            Pairs& best) {
  if (better(problem, pairs, best)) best = pairs;
  for (std::uint32_t w = window; w < problem.windows.size(); ++w) {
    for (std::uint32_t a = arrival; a < problem.arrivals.size(); ++a) {
      if (problem.arrivals[a] < problem.windows[w].opens) continue;
      if (problem.arrivals[a] > problem.windows[w].closes) continue;
      pairs.emplace_back(w, a);
      extend(problem, w + 1, a + 1, pairs, best);
      pairs.pop_back();
    }
  }
}

}  // namespace

Problem draw_problem(std::uint32_t number) {
  Draws draws(number);
  Problem problem;
  const std::int64_t span = draws.between(5, 60);
  const std::int64_t windows = draws.between(0, 5);
  AnswerWindow window{at(0), at(0), at(draws.between(0, 20))};
  for (std::int64_t i = 0; i < windows; ++i) {
    window.opens += base::Duration(draws.between(0, span / 4));
    window.reference = std::max(window.reference, window.opens);
    window.reference += base::Duration(draws.between(0, 4));
    window.closes = std::max(window.closes, window.opens);
    window.closes += base::Duration(draws.between(0, span / 3));
    problem.windows.push_back(window);
  }
  const std::int64_t arrivals = draws.between(0, 6);
  for (std::int64_t i = 0; i < arrivals; ++i)
    problem.arrivals.push_back(at(draws.between(-5, span)));
  std::ranges::sort(problem.arrivals);
  return problem;
}

Pairs pairs_of(const std::vector<std::uint32_t>& answers) {
  Pairs pairs;
  for (std::uint32_t w = 0; w < answers.size(); ++w)
    if (answers[w] != unmatched) pairs.emplace_back(w, answers[w]);
  return pairs;
}

std::int64_t total_latency(const Problem& problem, const Pairs& pairs) {
  base::Duration sum{};
  for (const auto& [w, a] : pairs)
    sum += std::chrono::abs(problem.arrivals[a] - problem.windows[w].reference);
  return sum.count();
}

Pairs try_everything(const Problem& problem) {
  Pairs pairs;
  Pairs best;
  extend(problem, 0, 0, pairs, best);
  return best;
}

}  // namespace plexor::judge
