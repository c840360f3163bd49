#include "analysis/number_text.hpp"

#include <fmt/format.h>

#include <cmath>

namespace plexor::analysis {
namespace {

constexpr int most_decimals = 6;

double shown(double value, std::string_view unit) { return unit.empty() ? 100.0 * value : value; }

std::string_view suffix(std::string_view unit) {
  if (unit.empty()) return " %";
  if (unit == "/h") return " per hour";
  return " ms";
}

int usual_decimals(double value, std::string_view unit) {
  if (unit.empty()) return 1;
  const double size = std::abs(value);
  if (unit == "ms") return size < 100.0 ? 1 : 0;
  if (size < 10.0) return 2;
  return size < 100.0 ? 1 : 0;
}

double rounded(double value, int decimals) {
  const double scale = std::pow(10.0, decimals);
  return std::round(value * scale) / scale;
}

/// The nudge keeps a value that stands on a digit (but for its last bits) where it is.
double rounded_towards(double value, int decimals, Rounding rounding) {
  constexpr double nudge = 1e-9;
  const double scale = std::pow(10.0, decimals);
  return rounding == Rounding::down ? std::floor(value * scale + nudge) / scale
                                    : std::ceil(value * scale - nudge) / scale;
}

}  // namespace

std::string figure_text(double value, std::string_view unit) {
  if (std::isinf(value)) return "infinity";
  int decimals = usual_decimals(value, unit);
  const double number = shown(value, unit);
  const auto reads_as_certain = [&](int digits) {
    const double text = rounded(number, digits);
    return unit.empty() && ((value > 0.0 && text <= 0.0) || (value < 1.0 && text >= 100.0));
  };
  while (decimals < most_decimals && reads_as_certain(decimals)) ++decimals;
  return fmt::format("{:.{}f}{}", number, decimals, suffix(unit));
}

std::string limit_text(double value, std::string_view unit) {
  return fmt::format("{:.10g}{}", shown(value, unit), suffix(unit));
}

std::string bound_text(double bound, double limit, std::string_view unit, Rounding rounding) {
  if (std::isinf(bound)) return "infinity";
  const double number = shown(bound, unit);
  const double limit_number = shown(limit, unit);
  int decimals = usual_decimals(bound, unit);
  const auto reads_as_limit = [&](int digits) {
    return std::abs(rounded_towards(number, digits, rounding) - limit_number) < 1e-9;
  };
  while (decimals < most_decimals && reads_as_limit(decimals)) ++decimals;
  return fmt::format("{:.{}f}{}", rounded_towards(number, decimals, rounding), decimals,
                     suffix(unit));
}

std::string counted(std::uint64_t n, std::string_view noun) {
  return fmt::format("{} {}{}", n, noun, n == 1 ? "" : "s");
}

std::string hours_text(double hours) {
  if (hours > 0.0 && hours < 1.0 / 60.0) return fmt::format("{:.2g} s", hours * 3600.0);
  if (hours > 0.0 && hours < 0.1) return fmt::format("{:.2g} min", hours * 60.0);
  return fmt::format("{:.3g} h", hours);
}

std::string length_text(double seconds) {
  const auto s = static_cast<std::int64_t>(std::llround(seconds));
  if (s >= 3600) return fmt::format("{} h {:02} min", s / 3600, s / 60 % 60);
  if (s >= 60) return fmt::format("{} min {:02} s", s / 60, s % 60);
  return fmt::format("{:.3g} s", std::round(seconds * 10.0) / 10.0);
}

std::uint64_t about(std::uint64_t n) {
  std::uint64_t step = 1;
  while (n / step >= 100) step *= 10;
  return (n + step - 1) / step * step;
}

}  // namespace plexor::analysis
