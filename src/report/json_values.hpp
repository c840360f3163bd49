#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string_view>

// How every JSON document writes its values.

namespace plexor::report {

/// Nine significant digits: more than any figure is good for, and short to write. Null for what is
/// infinite.
[[nodiscard]] nlohmann::ordered_json number(double value);
/// Null for nothing too.
[[nodiscard]] nlohmann::ordered_json optional_number(const std::optional<double>& value);

/// Null for an empty text.
[[nodiscard]] nlohmann::ordered_json text_or_null(std::string_view text);

}  // namespace plexor::report
