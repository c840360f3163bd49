#pragma once

#include <cstdint>

#include "judge/sequential.hpp"

namespace plexor::judge {

/// Lines meet whole trials; a meeting missed by less than this is rounding.
inline constexpr double line_slack = 1e-9;

inline constexpr double never_fails = -1.0;

/// The exposure from which so many failures lie on or below the accepting line, and that until
/// which they lie on or above the rejecting one (never_fails if none). Whole trials for detection.
[[nodiscard]] double pass_line(const WaldLines& lines, RateKind kind, std::uint64_t failures);
[[nodiscard]] double fail_line(const WaldLines& lines, RateKind kind, std::uint64_t failures);

}  // namespace plexor::judge
