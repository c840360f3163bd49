#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "analysis/history/run_figures.hpp"

// Histories whose truth is known, drawn from keyed draws: nights of a workshop's two panels.

namespace plexor::analysis {

/// One device as it really is.
struct MadeUnit {
  std::string name = "panel";
  std::string release = "1.4";
  double detects = 0.98;
  double answers_distractors = 0.01;
  double confuses = 0.005;
  double alarms_per_hour = 0.8;
  double median_ms = 560.0;
  double p95_ms = 700.0;
};

/// One night of a history that does not change: 320 knocks, 80 distractors, 4 quiet hours between
/// 22:00 and 06:00.
struct MadeNight {
  std::uint64_t seed = 1;
  std::uint32_t number = 0;  ///< from 0; its date follows from it: 2026-06-01 and so on
  std::vector<MadeUnit> units = {{.name = "panel"}, {.name = "glass door"}};
  double transit_ms = 6.20;
  double coil_c = 41.0;
};
[[nodiscard]] RunFigures made_run(const MadeNight& night);

/// That many nights in which nothing changes.
[[nodiscard]] std::vector<MadeNight> steady_nights(std::uint32_t nights, std::uint64_t seed);
[[nodiscard]] std::vector<RunFigures> made_history(const std::vector<MadeNight>& nights);

/// The history of the demo: a power cut on 2026-06-05, the glass door broken on 2026-06-08, and
/// release 1.5 of the panel, from 2026-06-09 on, of which more knocks are missed from night to
/// night.
[[nodiscard]] std::vector<RunFigures> eventful_history(std::uint64_t seed);

}  // namespace plexor::analysis
