#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "base/strike_speed.hpp"

namespace plexor::app {

/// Writes the page that shows one simulated tap at this strike speed on each of
/// these rigs. Throws base::InputError for a rig file that can't be shown so.
void write_traces_page(const std::filesystem::path& page, base::StrikeSpeed strike,
                       const std::vector<std::string>& rig_files);

}  // namespace plexor::app
