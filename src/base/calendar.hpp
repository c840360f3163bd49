#pragma once

#include <chrono>
#include <optional>
#include <string_view>

namespace plexor::base {

/// The day that a text names or begins with: "2026-05-18", "2026-05-18T19:30:00Z" (ISO
/// 8601). Nothing if it is no day of the calendar, or before 1970.
[[nodiscard]] std::optional<std::chrono::sys_days> day_of(std::string_view text);

}  // namespace plexor::base
