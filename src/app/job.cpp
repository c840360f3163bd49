#include "app/job.hpp"

#include <utility>

#include "app/progress_bar.hpp"
#include "app/rig_loading.hpp"
#include "app/text_file.hpp"

namespace plexor::app {

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
  }
  ProgressBar bar("rehearsing");
  job.rehearsal = run::rehearse(job.scenario, job.scenario_file, job.rig,
                                [&bar](double share) { bar.show(share); });
  return job;
}

}  // namespace plexor::app
