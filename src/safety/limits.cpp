#include "safety/limits.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace plexor::safety {

namespace {

using base::Duration;
using base::to_ms;
using base::to_s;

constexpr Duration longest_duty_span = std::chrono::hours{24};
constexpr double pa_per_n_cm2 = 1e4;

struct Figure {
  const char* limit;
  const char* what;
  const char* unit;
  double value;
};

// Comparisons in this file are written so that NaN is refused too.

std::optional<Refusal> refuse_unusable(const Limits& limits) {
  const std::array figures{
      Figure{"pulse length", "longest pulse", "ms", to_ms(limits.max_pulse)},
      Figure{"rest", "shortest rest", "ms", to_ms(limits.min_rest)},
      Figure{"duty", "duty", "%", limits.duty_percent},
      Figure{"duty", "duty span", "s", to_s(limits.duty_span)},
      Figure{"duty", "longest on time in the duty span", "s", to_s(limits.max_on_in_span)},
      Figure{"coil temperature", "highest coil temperature", "degC", limits.max_coil_c},
      Figure{"impact energy", "highest impact energy", "mJ", limits.max_energy_j * 1e3},
      Figure{"impact energy", "moving mass", "g", limits.moving_mass_kg * 1e3},
      Figure{"tip pressure", "tip diameter", "mm", limits.tip_diameter_m * 1e3},
      Figure{"tip pressure", "seated force", "N", limits.seated_force_n},
      Figure{"tip pressure", "highest tip pressure", "N/cm2",
             limits.max_tip_pressure_pa / pa_per_n_cm2},
  };
  for (const Figure& figure : figures) {
    if (figure.value > 0.0 && std::isfinite(figure.value)) continue;
    return Refusal{figure.limit, fmt::format("the {} is {:.9g} {}; a number above 0 would fit",
                                             figure.what, figure.value, figure.unit)};
  }
  return std::nullopt;
}

std::optional<Refusal> refuse_above_ceiling(const Limits& limits) {
  struct Ceiling {
    const char* what;
    const char* unit;
    double value;
    double ceiling;
  };
  const std::array pairs{
      Ceiling{"longest pulse", "ms", to_ms(limits.max_pulse), to_ms(ceilings.max_pulse)},
      Ceiling{"duty", "%", limits.duty_percent, ceilings.duty_percent},
      Ceiling{"highest coil temperature", "degC", limits.max_coil_c, ceilings.max_coil_c},
      Ceiling{"highest impact energy", "mJ", limits.max_energy_j * 1e3,
              ceilings.max_energy_j * 1e3},
      Ceiling{"highest tip pressure", "N/cm2", limits.max_tip_pressure_pa / pa_per_n_cm2,
              ceilings.max_tip_pressure_pa / pa_per_n_cm2},
  };
  for (const Ceiling& pair : pairs) {
    if (pair.value <= pair.ceiling) continue;
    return Refusal{
        "ceiling",
        fmt::format("the {} is {:.9g} {}; the ceiling of this build is {:.9g} {}, which would "
                    "fit",
                    pair.what, pair.value, pair.unit, pair.ceiling, pair.unit)};
  }
  return std::nullopt;
}

std::optional<Refusal> refuse_contradiction(const Limits& limits) {
  if (limits.duty_span > longest_duty_span) {
    return Refusal{"duty", fmt::format("the duty span is {} s; {} s or less would fit",
                                       to_s(limits.duty_span), to_s(longest_duty_span))};
  }
  if (limits.max_on_in_span > limits.duty_span) {
    return Refusal{"duty", fmt::format("the longest on time in the duty span is {} s; the span "
                                       "itself is {} s, and no more would fit",
                                       to_s(limits.max_on_in_span), to_s(limits.duty_span))};
  }
  if (limits.max_pulse > allowed_on_in_span(limits)) {
    return Refusal{"duty", fmt::format("one longest pulse of {} ms breaks the duty limit alone; a "
                                       "pulse of {} ms would fit",
                                       to_ms(limits.max_pulse), to_ms(allowed_on_in_span(limits)))};
  }
  if (!(limits.coil_margin_k >= 0.0 && limits.coil_margin_k < limits.max_coil_c)) {
    return Refusal{"coil temperature",
                   fmt::format("the coil margin is {} K; 0 K or more, less than the highest coil "
                               "temperature of {} degC, would fit",
                               limits.coil_margin_k, limits.max_coil_c)};
  }
  return std::nullopt;
}

std::optional<Refusal> refuse_tip_pressure(const Limits& limits) {
  const double area_m2 = std::numbers::pi * limits.tip_diameter_m * limits.tip_diameter_m / 4.0;
  const double pressure_pa = limits.seated_force_n / area_m2;
  if (pressure_pa <= limits.max_tip_pressure_pa) return std::nullopt;
  const double fitting_m =
      std::sqrt(4.0 * limits.seated_force_n / (std::numbers::pi * limits.max_tip_pressure_pa));
  return Refusal{
      "tip pressure",
      fmt::format("{} N on a tip of {:.9g} mm press with {:.1f} N/cm2; the limit is {:.9g} "
                  "N/cm2; a tip of {:.1f} mm would fit",
                  limits.seated_force_n, limits.tip_diameter_m * 1e3, pressure_pa / pa_per_n_cm2,
                  limits.max_tip_pressure_pa / pa_per_n_cm2, std::ceil(fitting_m * 1e4) / 10.0)};
}

}  // namespace

std::optional<Refusal> check_limits(const Limits& limits) {
  for (const auto refuse :
       {refuse_unusable, refuse_above_ceiling, refuse_contradiction, refuse_tip_pressure}) {
    if (auto refusal = refuse(limits)) return refusal;
  }
  return std::nullopt;
}

std::optional<Refusal> check_strike(const Limits& limits, base::StrikeSpeed strike) {
  const double m_s = base::to_m_s(strike);
  const double energy_j = limits.moving_mass_kg * m_s * m_s / 2.0;
  if (m_s > 0.0 && energy_j <= limits.max_energy_j) return std::nullopt;
  const double fitting_m_s = std::sqrt(2.0 * limits.max_energy_j / limits.moving_mass_kg);
  return Refusal{
      "impact energy",
      fmt::format("a strike of {} m/s has {:.3f} mJ; the limit is {:.9g} mJ; more than 0 and "
                  "at most {:.3f} m/s would fit",
                  m_s, energy_j * 1e3, limits.max_energy_j * 1e3,
                  std::floor(fitting_m_s * 1e3) / 1e3)};
}

base::Duration allowed_on_in_span(const Limits& limits) {
  const double by_percent =
      static_cast<double>(limits.duty_span.count()) * limits.duty_percent / 100.0;
  return std::min(limits.max_on_in_span, Duration{static_cast<Duration::rep>(by_percent)});
}

}  // namespace plexor::safety
