#pragma once

#include <optional>

#include "app/job.hpp"
#include "app/run_journal.hpp"
#include "app/run_progress.hpp"
#include "run/run_folder.hpp"

namespace plexor::app {

/// A run on a rig of kind lines, in real time, beside its warden: takes the
/// lines, asks for leave to tap, taps and listens. Nothing if nobody gave leave. An interrupted run
/// that goes on where nobody is there to ask only listens, until an arm ticket gives leave.
/// Whatever ends it, the gate is inactive and was read back so. Throws
/// base::RigFault with nothing energised.
[[nodiscard]] std::optional<run::RunFolder> tap_live(const Job& job, const RunOptions& options,
                                                     std::optional<InterruptedRun> interrupted,
                                                     const Onlookers& onlookers);

}  // namespace plexor::app
