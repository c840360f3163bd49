#pragma once

#include <cmath>
#include <cstdint>
#include <map>
#include <utility>
#include <vector>

#include "base/random.hpp"
#include "judge/sequential.hpp"

namespace plexor::judge {

inline SequentialAim heard(double good, double bad, double alpha, double beta) {
  return {.kind = RateKind::detection, .good = good, .bad = bad, .alpha = alpha, .beta = beta};
}

inline SequentialAim alarms(double good, double bad, double alpha, double beta) {
  return {.kind = RateKind::alarms, .good = good, .bad = bad, .alpha = alpha, .beta = beta};
}

/// A detection test in each state that it can be in, and the chance of that.
struct ChanceOf {
  SequentialState state;
  double chance = 0.0;
};

/// Where a detection test stands after so many trials, found trial by trial with the test itself.
/// Equal states are put together.
inline std::vector<ChanceOf> trial_by_trial(const SequentialDesign& design, double rate,
                                            double trials) {
  std::vector<ChanceOf> stopped;
  std::map<std::uint64_t, std::pair<SequentialTest, double>> running;
  running.emplace(0, std::pair{SequentialTest(design), 1.0});
  for (double trial = 0.0; trial < trials; trial += 1.0) {
    std::map<std::uint64_t, ChanceOf> ended;
    std::map<std::uint64_t, std::pair<SequentialTest, double>> next;
    for (const auto& [failures, test] : running) {
      for (const bool is_heard : {true, false}) {
        SequentialTest after = test.first;
        const double chance = test.second * (is_heard ? rate : 1.0 - rate);
        const bool goes_on = after.add_trial(is_heard) == Standing::running;
        const std::uint64_t now = after.state().failures;
        if (goes_on)
          next.try_emplace(now, after, 0.0).first->second.second += chance;
        else
          ended.try_emplace(now, ChanceOf{after.state()}).first->second.chance += chance;
      }
    }
    for (const auto& [failures, end] : ended) stopped.push_back(end);
    running = std::move(next);
  }
  for (const auto& [failures, test] : running) stopped.push_back({test.first.state(), test.second});
  return stopped;
}

/// A number from 0 to 1, 1 excluded, for a draw of a virtual check.
inline double uniform_draw(std::uint64_t seed, std::uint32_t check, std::uint32_t draw) {
  const std::uint64_t bits = base::uniform_bits(
      {.seed = seed, .trial = check, .tap = draw, .purpose = base::Purpose::dice});
  return static_cast<double>(bits >> 11U) * 0x1p-53;
}

/// Where a virtual check at a true rate ends.
inline SequentialState virtual_check(SequentialTest test, double rate, std::uint64_t seed,
                                     std::uint32_t check) {
  double hours = 0.0;
  for (std::uint32_t draw = 0; test.state().standing == Standing::running; ++draw) {
    const double uniform = uniform_draw(seed, check, draw);
    if (test.design().aim.kind == RateKind::detection)
      test.add_trial(uniform < rate);
    else
      test.alarm_at(hours += -std::log1p(-uniform) / rate);
  }
  return test.state();
}

}  // namespace plexor::judge
