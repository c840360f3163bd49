#pragma once

#include <functional>

#include "app/run_publisher.hpp"
#include "app/service_notice.hpp"
#include "run/conductor.hpp"

namespace plexor::app {

/// Who is told how a run gets on, beside the person at the terminal.
struct Onlookers {
  RunPublisher& publisher;
  ServiceNotice& service;
};

/// Shows a run's progress as a bar, and tells the onlookers, for as long as the function is kept.
[[nodiscard]] std::function<void(const run::Progress&)> progress_shown(const Onlookers& onlookers);

}  // namespace plexor::app
