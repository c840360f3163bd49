#pragma once

#include <filesystem>
#include <string>

#include "rig/rig_file.hpp"

namespace plexor::app {

/// A rig file with what it names.
struct LoadedRig {
  std::string file;
  std::string text;
  rig::CalibrationText calibration;  ///< empty where it stands in the rig file, or nowhere
  rig::RigFile rig;
};

/// Reads a rig file, and its calibration file where it names one: beside the rig
/// file, unless the name is a whole path. Throws base::InputError.
[[nodiscard]] LoadedRig load_rig(const std::filesystem::path& path);

}  // namespace plexor::app
