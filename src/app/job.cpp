#include "app/job.hpp"

#include <fmt/format.h>

#include <utility>

#include "app/progress_bar.hpp"
#include "app/rig_loading.hpp"
#include "app/text_file.hpp"
#include "base/error.hpp"

namespace plexor::app {

namespace {

/// On a simulated surface a spot is a place.
void put_spots_on_surface(Job& job) {
  if (!job.simulation.sensor) return;
  virtual_rig::SurfaceSettings& surface = job.simulation.sensor->surface;
  for (const scenario::Spot& spot : job.scenario.spots) {
    constexpr double m_per_um = 1e-6;
    const auto at = spot.at.value_or(base::SurfacePoint{-1, -1});
    const physics::Spot place{static_cast<double>(at.x_um) * m_per_um,
                              static_cast<double>(at.y_um) * m_per_um};
    const bool is_on_it = at.x_um >= 0 && at.y_um >= 0 && place.along_m < surface.plate.length_m &&
                          place.across_m < surface.plate.width_m;
    if (!is_on_it) {
      throw base::InputError(
          {job.scenario_file, 0, 0},
          fmt::format("the spot \"{}\" {}", spot.name,
                      spot.at ? "beside the simulated surface" : "without at_mm"),
          fmt::format("at_mm on the surface of {:g} mm by {:g} mm", surface.plate.length_m * 1e3,
                      surface.plate.width_m * 1e3));
    }
    surface.more_taps.push_back(place);
  }
}

}  // namespace

Job load_job(const std::filesystem::path& scenario_path, const std::filesystem::path& rig_path) {
  Job job;
  job.scenario_file = scenario_path.string();
  job.scenario_text = read_text_file(scenario_path);
  job.scenario = scenario::parse_scenario(job.scenario_text, job.scenario_file);
  LoadedRig loaded = load_rig(rig_path);
  job.rig_file = std::move(loaded.file);
  job.rig_text = std::move(loaded.text);
  job.calibration = std::move(loaded.calibration);
  job.rig = std::move(loaded.rig);
  if (job.rig.kind == rig::RigKind::simulated) {
    job.simulation = virtual_rig::parse_simulation(job.rig_text, job.rig_file, job.rig);
    put_spots_on_surface(job);
  }
  ProgressBar bar("rehearsing");
  job.rehearsal = run::rehearse(job.scenario, job.scenario_file, job.rig,
                                [&bar](double share) { bar.show(share); });
  return job;
}

}  // namespace plexor::app
