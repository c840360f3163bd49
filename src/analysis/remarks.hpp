#pragma once

#include <string>
#include <vector>

#include "analysis/results.hpp"
#include "scenario/scenario.hpp"

namespace plexor::analysis {

/// What in a device's answers points to a cause, one plain sentence each: where
/// it systematically took a rhythm for one with more or fewer knocks. Hints for
/// whoever looks for the reason; no verdict depends on them.
[[nodiscard]] std::vector<std::string> remarks_on(const DeviceResult& device,
                                                  const scenario::Scenario& scenario);

}  // namespace plexor::analysis
