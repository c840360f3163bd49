#include "app/job.hpp"

#include "app/progress_bar.hpp"
#include "app/text_file.hpp"

namespace plexor::app {

Job load_job(const std::filesystem::path& scenario_path, const std::filesystem::path& rig_path) {
  Job job;
  job.scenario_file = scenario_path.string();
  job.scenario_text = read_text_file(scenario_path);
  job.scenario = scenario::parse_scenario(job.scenario_text, job.scenario_file);
  job.rig_file = rig_path.string();
  job.rig_text = read_text_file(rig_path);
  job.rig = rig::parse_rig(job.rig_text, job.rig_file);
  if (job.rig.kind == rig::RigKind::simulated) {
    job.simulation = virtual_rig::parse_simulation(job.rig_text, job.rig_file, job.rig);
  }
  ProgressBar bar("rehearsing");
  job.rehearsal = run::rehearse(job.scenario, job.scenario_file, job.rig,
                                [&bar](double share) { bar.show(share); });
  return job;
}

}  // namespace plexor::app
