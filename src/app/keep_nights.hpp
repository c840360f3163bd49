#pragma once

#include <CLI/CLI.hpp>
#include <filesystem>
#include <functional>
#include <string>
#include <vector>

#include "run/retention.hpp"
#include "run/run_folder.hpp"

namespace plexor::app {

/// --journals and --waveforms, as every command has them that removes old ones.
void add_retention_options(CLI::App& parser, run::Retention& retention);

/// Whether a run is in the archive.
using IsArchived = std::function<bool(const run::RunFolder&)>;

/// Removes from the runs in `folder` what retention does not keep, and says so: a line for each run
/// that lost something, or is old and kept. `only_says`: removes nothing. `is_archived` where there
/// is an archive. Throws base::RigFault for a file that can't be removed.
[[nodiscard]] std::vector<std::string> keep_nights(const std::filesystem::path& folder,
                                                   const run::Retention& retention, bool only_says,
                                                   const IsArchived& is_archived = {});

}  // namespace plexor::app
