#pragma once

#include <filesystem>
#include <nlohmann/json.hpp>
#include <string>

#include "analysis/results.hpp"
#include "rig/rig_file.hpp"
#include "run/run_folder.hpp"

namespace plexor::app {

/// The answer of a run in one object, as it is published under TOPIC/summary and posted.
[[nodiscard]] nlohmann::ordered_json summary_of(const std::string& folder,
                                                const analysis::Results& results,
                                                std::uint64_t messages_dropped);

/// Before a run: that the token of [post] can be used. Throws base::InputError.
void check_post_settings(const rig::RigFile& rig);

/// Posts a run's summary as [post] says, where there is one; before it the summaries of runs beside
/// it that could not be posted when they ended. What can't be posted waits in the run's
/// unsent.json. A summary may come twice, where its answer was lost. Never takes longer than half a
/// minute, and never fails: trouble is said aside.
void post_summary(const rig::RigFile& rig, const run::RunFolder& folder,
                  const nlohmann::ordered_json& summary);

}  // namespace plexor::app
