#pragma once

#include <cstdlib>
#include <filesystem>
#include <stdexcept>
#include <string>

namespace plexor::rig {

/// A new folder with this in its name; its owner removes it.
inline std::filesystem::path make_temporary_folder(const std::string& name) {
  std::string path =
      (std::filesystem::temp_directory_path() / ("plexor-" + name + "-XXXXXX")).string();
  if (mkdtemp(path.data()) == nullptr) throw std::runtime_error("no temporary folder");
  return path;
}

}  // namespace plexor::rig
