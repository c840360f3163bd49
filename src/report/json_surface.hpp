#pragma once

#include <nlohmann/json.hpp>

#include "analysis/results.hpp"

namespace plexor::report {

/// "curves" of a device in results.json: detection against strike speed.
[[nodiscard]] nlohmann::ordered_json curves_json(const analysis::Results& results,
                                                 const analysis::DeviceResult& device);
/// "channels" of results.json: what the waveforms say, and the advice.
[[nodiscard]] nlohmann::ordered_json channels_json(const analysis::Results& results);

}  // namespace plexor::report
