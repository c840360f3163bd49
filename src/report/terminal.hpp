#pragma once

#include <string>

#include "analysis/results.hpp"

namespace plexor::report {

/// What the terminal can show.
struct Style {
  bool colour = false;  ///< else the marks are words only
  int width = 80;       ///< columns; sentences are wrapped to it
};

/// The answer for a terminal: headline, verdicts, rhythms, voids; ends with a line feed.
[[nodiscard]] std::string summary(const analysis::Results& results, Style style);

}  // namespace plexor::report
