#pragma once

#include <filesystem>
#include <string>

namespace plexor::app {

/// A whole scenario or rig file. Throws base::InputError, one clear message, if
/// it is missing, a folder, unreadable or larger than any such file can sensibly be (4 MiB).
[[nodiscard]] std::string read_text_file(const std::filesystem::path& path);

/// That a page may be written here: a name that ends in .html, in a folder that is there, over
/// nothing but a file. Throws base::InputError in the name of the option that asked for it.
void check_page(const std::filesystem::path& page, const std::string& option);

}  // namespace plexor::app
