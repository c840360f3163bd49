#pragma once

#include <functional>

#include "app/run_publisher.hpp"
#include "run/conductor.hpp"

namespace plexor::app {

/// Shows a run's progress as a bar, and publishes it, for as long as the function is kept.
[[nodiscard]] std::function<void(const run::Progress&)> progress_shown(RunPublisher& publisher);

}  // namespace plexor::app
