#pragma once

#include <algorithm>
#include <cstdint>
#include <vector>

#include "scenario/planner.hpp"

namespace plexor::scenario {

/// Takes the next trial, if there is one.
inline std::optional<base::Trial> take(const Scenario& scenario, History& history) {
  auto trial = next(scenario, history);
  if (trial) history.took(trial->id);
  return trial;
}

/// Takes all that is left of a plan.
inline std::vector<base::Trial> take_rest(const Scenario& scenario, History& history) {
  std::vector<base::Trial> trials;
  while (auto trial = take(scenario, history)) trials.push_back(*trial);
  return trials;
}

/// The whole plan of a run in which nothing is void.
inline std::vector<base::Trial> whole_plan(const Scenario& scenario) {
  History history(scenario);
  return take_rest(scenario, history);
}

inline std::vector<base::Trial> of_kind(std::vector<base::Trial> trials, base::TrialKind kind) {
  std::erase_if(trials, [&](const base::Trial& trial) { return trial.kind != kind; });
  return trials;
}

inline std::vector<base::Trial> of_block(std::vector<base::Trial> trials, std::uint32_t block) {
  std::erase_if(trials, [&](const base::Trial& trial) { return trial.id.block != block; });
  return trials;
}

}  // namespace plexor::scenario
