#pragma once

#include <string>

#include "analysis/history/run_figures.hpp"

namespace plexor::archive {

/// The same for the same figures on every machine: a name-based UUID (RFC 4122, version 5) of a
/// canonical text of them. The folder does not count: a copy elsewhere is the same run.
[[nodiscard]] std::string content_hash(const analysis::RunFigures& run);

}  // namespace plexor::archive
