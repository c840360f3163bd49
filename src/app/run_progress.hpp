#pragma once

#include <functional>

#include "run/conductor.hpp"

namespace plexor::app {

/// Shows a run's progress as a bar, for as long as the function is kept.
[[nodiscard]] std::function<void(const run::Progress&)> progress_shown();

}  // namespace plexor::app
