#pragma once

#include <string>

#include "analysis/comparing/compare.hpp"

namespace plexor::analysis {

/// The interval's end on the worse side lies within the margin.
[[nodiscard]] bool is_within_margin(const ComparedFigure& figure);
/// "panel, detection: 313 of 320 before, 309 of 320 now: ..."
[[nodiscard]] std::string reason_of(const ComparedFigure& figure, bool paired);
[[nodiscard]] std::string headline_of(const Comparison& comparison);

}  // namespace plexor::analysis
