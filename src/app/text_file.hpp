#pragma once

#include <filesystem>
#include <string>

namespace plexor::app {

/// A whole scenario or rig file. Throws base::InputError, one clear message, if
/// it is missing, a folder, unreadable or larger than any such file can sensibly be (4 MiB).
[[nodiscard]] std::string read_text_file(const std::filesystem::path& path);

}  // namespace plexor::app
