#pragma once

#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>

#include "app/job.hpp"

namespace plexor::app {

/// How much a job writes, and how far the disk reaches where its run goes (`out`; empty: where runs
/// go unless told otherwise): for `rehearse`.
[[nodiscard]] std::string disk_text(const Job& job);
[[nodiscard]] nlohmann::ordered_json disk_json(const Job& job);

/// Before anything moves: warns of a disk on which the run does not fit. Throws base::RigFault
/// where it would have to end at once.
void check_disk_room(const Job& job, const std::filesystem::path& out);

}  // namespace plexor::app
