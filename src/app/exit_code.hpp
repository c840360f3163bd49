#pragma once

#include "analysis/results.hpp"

namespace plexor::app {

/// What every command returns to the shell.
enum class ExitCode : int {
  pass = 0,
  fail = 1,
  wrong_usage = 2,    ///< wrong options or files
  fault = 3,          ///< unsafe, or a fault of rig or host
  undecided = 4,      ///< or interrupted
  bisect_skip = 125,  ///< git bisect run: this one can't be told
  bisect_stop = 128,  ///< git bisect run: stop
};

/// A fault of the rig outweighs whatever the trials before it said.
[[nodiscard]] ExitCode exit_code_of(const analysis::Results& results);

}  // namespace plexor::app
