#pragma once

#include <nlohmann/json.hpp>

#include "analysis/results.hpp"

namespace plexor::report {

/// "by_hour_of_day" of a device: 24 hours of the local day; null where no clock is known.
[[nodiscard]] nlohmann::ordered_json hours_of_day_json(const analysis::Results& results,
                                                       const analysis::DeviceResult& device);

// Of the root of results.json.
[[nodiscard]] nlohmann::ordered_json holes_json(const analysis::Results& results);
[[nodiscard]] nlohmann::ordered_json disturbances_json(const analysis::Results& results);
[[nodiscard]] nlohmann::ordered_json power_cycles_json(const analysis::Results& results);
[[nodiscard]] nlohmann::ordered_json tapper_json(const analysis::Results& results);
/// Null for a short run that is no soak.
[[nodiscard]] nlohmann::ordered_json soak_json(const analysis::Results& results);

}  // namespace plexor::report
