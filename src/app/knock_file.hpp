#pragma once

#include <optional>
#include <string>
#include <vector>

#include "analysis/performance/knocks.hpp"

namespace plexor::app {

/// How a file of samples or knocks is to be read.
struct KnockFileFormat {
  double seconds_per_unit = 1.0;    ///< of its times
  std::optional<double> rate_hz{};  ///< its lines are values alone, so many in a second
  bool knocks = false;              ///< its lines are knocks, time[,strength], not samples
};

/// What stands in such a file.
struct KnockFile {
  std::vector<double> times_s{};
  std::vector<double> values{};           ///< of samples, one for each time
  std::vector<analysis::Knock> knocks{};  ///< or these
};

/// Reads a file, "-": standard input. Columns are parted by comma, semicolon or tab; empty lines,
/// those begun with #, a first line of names and carriage returns are passed over. Throws
/// base::InputError naming file and line for any other line, for times that do not rise, and for
/// more than ten million lines.
[[nodiscard]] KnockFile read_knock_file(const std::string& path, const KnockFileFormat& format);

}  // namespace plexor::app
