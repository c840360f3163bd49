#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>

#include "analysis/results.hpp"

// How every JSON document writes its values.

namespace plexor::report {

/// Nine significant digits: more than any figure is good for, and short to write. Null for what is
/// infinite.
[[nodiscard]] nlohmann::ordered_json number(double value);
/// Null for nothing too.
[[nodiscard]] nlohmann::ordered_json optional_number(const std::optional<double>& value);

/// Null for an empty text.
[[nodiscard]] nlohmann::ordered_json text_or_null(std::string_view text);

/// `suffix` is the unit in the keys: "", "_ms" or "_per_hour". Null for nothing.
[[nodiscard]] nlohmann::ordered_json interval_json(const std::optional<analysis::Interval>& value,
                                                   const std::string& suffix);
[[nodiscard]] nlohmann::ordered_json proportion_json(const analysis::Proportion& value);
[[nodiscard]] nlohmann::ordered_json alarms_json(const analysis::AlarmRate& value);

}  // namespace plexor::report
