#pragma once

#include <cstdint>
#include <filesystem>
#include <optional>
#include <string>

#include "journal/records.hpp"
#include "rig/rig_file.hpp"
#include "run/rehearsal.hpp"
#include "scenario/scenario.hpp"
#include "virtual/simulation.hpp"

namespace plexor::app {

/// A scenario and a rig that fit each other: read, checked and rehearsed.
struct Job {
  std::string scenario_file;
  std::string scenario_text;
  scenario::Scenario scenario;
  std::string rig_file;
  std::string rig_text;
  rig::CalibrationText calibration;  ///< where it is a file of its own
  rig::RigFile rig;
  virtual_rig::Simulation simulation;  ///< kind simulated only
  run::Rehearsal rehearsal;
};

/// With `seed`, if given, instead of the scenario's own. Throws base::InputError for anything that
/// `run` would refuse.
[[nodiscard]] Job load_job(const std::filesystem::path& scenario_path,
                           const std::filesystem::path& rig_path,
                           std::optional<std::uint64_t> seed = {});

/// The job of a run under way, as its journal has it. The rig file must be where it was (or at
/// `rig_path`, if that is not empty) and say what it said, because the warden reads it too; of a
/// rig in virtual time it may be gone. Throws base::InputError.
[[nodiscard]] Job load_job_again(const journal::Header& header,
                                 const std::filesystem::path& rig_path);

}  // namespace plexor::app
