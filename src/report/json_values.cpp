#include "report/json_values.hpp"

#include <fmt/format.h>

#include <cmath>
#include <cstdlib>

namespace plexor::report {

namespace {

using Json = nlohmann::ordered_json;

/// `object[key]`, and beside it whether the value lies beyond everything that was measured; null
/// without that is no bound at all.
void put(Json& object, const std::string& key, double value) {
  object[key] = number(value);
  object[key + "_beyond"] = std::isinf(value) && value > 0.0;
}

std::string_view to_text(analysis::Sides sides) {
  switch (sides) {
    case analysis::Sides::two: return "two";
    case analysis::Sides::lower: return "lower";
    case analysis::Sides::upper: return "upper";
  }
  return "two";
}

Json scatter_json(const std::optional<analysis::HourScatter>& value) {
  if (!value) return nullptr;
  return {{"hours", value->hours},
          {"index", number(value->index)},
          {"p", number(value->p)},
          {"by_hours", interval_json(value->by_hours, "_per_hour")}};
}

}  // namespace

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

nlohmann::ordered_json interval_json(const std::optional<analysis::Interval>& value,
                                     const std::string& suffix) {
  if (!value) return nullptr;
  Json object;
  put(object, "lower" + suffix, value->lower);
  put(object, "upper" + suffix, value->upper);
  object["confidence"] = number(value->confidence);
  object["sides"] = to_text(value->sides);
  object["method"] = value->method;
  return object;
}

nlohmann::ordered_json proportion_json(const analysis::Proportion& value) {
  return {{"x", value.x},
          {"n", value.n},
          {"share", optional_number(value.estimate)},
          {"exact", interval_json(value.exact, "")},
          {"wilson", interval_json(value.wilson, "")}};
}

nlohmann::ordered_json alarms_json(const analysis::AlarmRate& value) {
  return {{"incidents", value.incidents},
          {"listened_h", number(value.hours)},
          {"per_hour", optional_number(value.per_hour)},
          {"exact", interval_json(value.exact, "_per_hour")},
          {"scatter", scatter_json(value.scatter)}};
}

}  // namespace plexor::report
