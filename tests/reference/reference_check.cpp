#include "reference/reference_check.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>
#include <iterator>

namespace plexor::reference {

namespace {

bool is_near(double value, double expected, const Tolerance& tolerance) {
  if (value == expected) return true;  // also infinity, whose difference is not a number
  switch (tolerance.kind) {
    case Tolerance::Kind::exact: return false;
    case Tolerance::Kind::absolute: return std::abs(value - expected) <= tolerance.value;
    case Tolerance::Kind::relative:
      return std::abs(value - expected) <= tolerance.value * std::abs(expected);
  }
  return false;
}

bool are_near(const std::vector<double>& values, const Row& row) {
  std::vector<double> expected;
  for (const std::string& part : split(row.expected, " /"))
    expected.push_back(parse_number(part, row.place));
  return std::ranges::equal(values, expected,
                            [&](double v, double e) { return is_near(v, e, row.tolerance); });
}

}  // namespace

const Handler* find_handler(const std::vector<Handler>& handlers, const Row& row) {
  const std::string method = row.inputs.text_or("method", row.inputs.text_or("generator", ""));
  const auto answers_row = [&](const Handler& handler) {
    return handler.method == method && handler.quantity == row.quantity &&
           std::ranges::all_of(split(handler.needs, " "),
                               [&](const std::string& key) { return row.inputs.has(key); });
  };
  const auto found = std::ranges::find_if(handlers, answers_row);
  return found == handlers.end() ? nullptr : &*found;
}

bool agrees(const Answer& answer, const Row& row) {
  if (const auto* text = std::get_if<std::string>(&answer)) return *text == row.expected;
  if (const auto* number = std::get_if<double>(&answer)) return are_near({*number}, row);
  return are_near(std::get<std::vector<double>>(answer), row);
}

std::string to_text(const Answer& answer) {
  if (const auto* text = std::get_if<std::string>(&answer)) return *text;
  if (const auto* number = std::get_if<double>(&answer)) return fmt::format("{:.17g}", *number);
  return fmt::format("{:.17g}", fmt::join(std::get<std::vector<double>>(answer), " "));
}

}  // namespace plexor::reference
