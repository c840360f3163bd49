#include "report/json_values.hpp"

#include <fmt/format.h>

#include <cmath>
#include <cstdlib>

namespace plexor::report {

nlohmann::ordered_json number(double value) {
  if (!std::isfinite(value)) return nullptr;
  const double shortened = std::strtod(fmt::format("{:.9g}", value).c_str(), nullptr);
  return shortened == 0.0 ? 0.0 : shortened;
}

nlohmann::ordered_json optional_number(const std::optional<double>& value) {
  return value ? number(*value) : nlohmann::ordered_json(nullptr);
}

nlohmann::ordered_json text_or_null(std::string_view text) {
  return text.empty() ? nlohmann::ordered_json(nullptr) : nlohmann::ordered_json(text);
}

}  // namespace plexor::report
