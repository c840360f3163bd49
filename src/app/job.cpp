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

Job make_job(std::string scenario_file, std::string scenario_text,
             std::optional<std::uint64_t> seed, LoadedRig loaded) {
  Job job;
  job.scenario_file = std::move(scenario_file);
  job.scenario_text = std::move(scenario_text);
  job.scenario = scenario::parse_scenario(job.scenario_text, job.scenario_file);
  job.scenario.seed = seed.value_or(job.scenario.seed);
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

/// As the run began with it.
LoadedRig rig_of(const journal::Header& header) {
  LoadedRig loaded{
      header.rig_file, header.rig_text, {header.calibration_file, header.calibration_text}, {}};
  loaded.rig = rig::parse_rig(loaded.text, loaded.file,
                              [&](const std::string&) { return loaded.calibration; });
  return loaded;
}

}  // namespace

Job load_job(const std::filesystem::path& scenario_path, const std::filesystem::path& rig_path,
             std::optional<std::uint64_t> seed) {
  return make_job(scenario_path.string(), read_text_file(scenario_path), seed, load_rig(rig_path));
}

Job load_job_again(const journal::Header& header, const std::filesystem::path& rig_path) {
  LoadedRig loaded = rig_of(header);
  if (loaded.rig.kind == rig::RigKind::lines) {
    LoadedRig now = load_rig(rig_path.empty() ? std::filesystem::path(header.rig_file) : rig_path);
    if (now.text != loaded.text || now.calibration.text != loaded.calibration.text) {
      throw base::InputError({now.file, 0, 0}, "another rig file (or calibration) than the run's",
                             "the one that it began with",
                             "put it back; a run goes on only on the rig that it began on");
    }
    loaded = std::move(now);
  }
  return make_job(header.scenario_file, header.scenario_text, header.seed, std::move(loaded));
}

}  // namespace plexor::app
