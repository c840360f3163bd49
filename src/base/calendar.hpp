#pragma once

#include <chrono>
#include <optional>
#include <string>
#include <string_view>

namespace plexor::base {

/// The day that a text names or begins with: "2026-05-18", "2026-05-18T19:30:00Z" (ISO
/// 8601). Nothing if it is no day of the calendar, or before 1970.
[[nodiscard]] std::optional<std::chrono::sys_days> day_of(std::string_view text);

/// "2026-05-18".
[[nodiscard]] std::string date_text(std::chrono::sys_days day);

/// The moment that a text names: "2026-05-18T19:30:00Z" (ISO 8601, UTC, whole seconds). Nothing for
/// any other text.
[[nodiscard]] std::optional<std::chrono::sys_seconds> moment_of(std::string_view text);

}  // namespace plexor::base
