#pragma once

#include <cstdint>
#include <vector>

#include "analysis/presentation.hpp"
#include "analysis/results.hpp"
#include "analysis/soak/hours.hpp"
#include "analysis/soak/marks.hpp"
#include "analysis/soak/watch.hpp"
#include "analysis/tally.hpp"
#include "scenario/scenario.hpp"

namespace plexor::analysis {

/// A run that lasts longer than this is shown hour by hour, whatever it was for.
inline constexpr double long_run_s = 7200.0;

/// What the course of a run adds to its figures: hours, marked disturbances, holes, power cycles.
class RunCourse {
 public:
  RunCourse(const scenario::Scenario& scenario, std::size_t devices);

  [[nodiscard]] Watch& watch() { return watch_; }
  [[nodiscard]] Marks& marks() { return marks_; }
  void power_cycle(const journal::PowerCycle& told, base::Duration run_time);

  /// Presentations that are released, in order of time; all of them, void ones too.
  void released(const Presentation& presentation);
  void rhythm(const Presentation& presentation) { hours_.rhythm(presentation); }
  /// Takes the disturbed incidents out of the answers. What was undisturbed, on the run's own time.
  [[nodiscard]] std::vector<base::Stretch> quiet(Presentation& presentation);

  [[nodiscard]] base::Duration undisturbed() const { return hours_.listened(); }
  /// What it knows of the device beside its answers.
  void add_to(DeviceEvidence& evidence, std::size_t device) const;
  /// Call once, last, with the devices' results there.
  void add_to(Results& results);

 private:
  const scenario::Scenario& scenario_;
  Watch watch_;
  Marks marks_;
  HoursTally hours_;
  std::vector<std::uint32_t> cycles_;  ///< by device
  std::vector<PowerCycled> cycled_;
  std::vector<std::uint64_t> disturbed_;  ///< by device
};

}  // namespace plexor::analysis
