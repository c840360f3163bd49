#pragma once

#include <cstdint>
#include <string>
#include <utility>
#include <vector>

#include "analysis/performance/knocks.hpp"
#include "base/random.hpp"
#include "scenario/planner.hpp"
#include "scenario/scenario.hpp"

// Performances whose truth is known: drawn by the planner, as a scenario would replay them.

namespace plexor::made {

/// The tables of a rhythm and its jitter, put into a scenario with one block of it.
inline std::string scenario_around(const std::string& tables, const std::string& strike,
                                   std::uint64_t seed, std::size_t trials) {
  return tables +
         "\n[scenario]\nname = \"made\"\npurpose = \"regression\"\nseed = " + std::to_string(seed) +
         "\n[[block]]\nrhythm = \"made\"\ntrials = " + std::to_string(trials) +
         "\nstrike_m_s = " + strike + "\nwindow_ms = 1000\ngap_ms = [1000, 2000]\n";
}

/// Every trial of the scenario's only block as a performance, the strike speed as its strength.
inline std::vector<analysis::Performance> performances_drawn(const std::string& scenario_text) {
  const auto scenario = scenario::parse_scenario(scenario_text, "made.toml");
  std::vector<analysis::Performance> performances;
  for (std::uint32_t number = 0; number < scenario.blocks.at(0).trials; ++number) {
    auto& performance = performances.emplace_back(analysis::Performance{number + 1, {}});
    for (const auto& tap : scenario::draw_trial(scenario, {.block = 0, .number = number}).taps) {
      performance.knocks.push_back({base::to_s(tap.contact), base::to_m_s(tap.strike)});
    }
  }
  return performances;
}

/// Performances of knocks at these instants in ms.
inline std::vector<analysis::Performance> performances_at(
    const std::vector<std::vector<double>>& instants_ms) {
  std::vector<analysis::Performance> performances;
  for (const auto& instants : instants_ms) {
    auto& performance = performances.emplace_back();
    performance.number = performances.size();
    for (const double at_ms : instants) performance.knocks.push_back({at_ms / 1e3, {}});
  }
  return performances;
}

/// What a spread of the planner has lost by its truncation at 3 sd.
inline constexpr double truncated_sd = 0.98658;

}  // namespace plexor::made
