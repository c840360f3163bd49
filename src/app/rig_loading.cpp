#include "app/rig_loading.hpp"

#include "app/text_file.hpp"

namespace plexor::app {

LoadedRig load_rig(const std::filesystem::path& path) {
  LoadedRig loaded{path.string(), read_text_file(path), {}, {}};
  const auto find = [&](const std::string& name) {
    const std::filesystem::path file = path.parent_path() / name;
    loaded.calibration = {file.string(), read_text_file(file)};
    return loaded.calibration;
  };
  loaded.rig = rig::parse_rig(loaded.text, loaded.file, find);
  return loaded;
}

}  // namespace plexor::app
