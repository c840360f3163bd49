#pragma once

#include <cstdint>
#include <string>
#include <string_view>

// Numbers as people read them. `unit` is a verdict's unit: "" (a share, shown in
// percent), "ms" or "/h" (shown as "per hour").

namespace plexor::analysis {

/// A measured figure with no more digits than useful: "84.7 %", "612 ms", "2.25 per hour".
/// Shares near 0 or 1 get the digits that keep them apart from it: "99.97 %".
[[nodiscard]] std::string figure_text(double value, std::string_view unit);

/// A limit or confidence as the user wrote it: "95 %", "99.5 %", "900 ms", "2 per hour".
[[nodiscard]] std::string limit_text(double value, std::string_view unit);

enum class Rounding : std::uint8_t { down, up };

/// A bound, rounded away from the estimate (so that it never claims too much)
/// with enough digits to tell it from the limit.
[[nodiscard]] std::string bound_text(double bound, double limit, std::string_view unit,
                                     Rounding rounding);

/// "1 trial", "320 trials".
[[nodiscard]] std::string counted(std::uint64_t n, std::string_view noun);

/// A length of listening: "4 h", "0.25 h", "2.5 min", "16 s".
[[nodiscard]] std::string hours_text(double hours);

/// A length of time in its two largest units: "2 h 05 min", "48 s".
[[nodiscard]] std::string length_text(double seconds);

/// Rounded up to two significant digits, for "about 960 more".
[[nodiscard]] std::uint64_t about(std::uint64_t n);

}  // namespace plexor::analysis
