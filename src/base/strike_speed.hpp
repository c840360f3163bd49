#pragma once

#include <compare>
#include <cstdint>

namespace plexor::base {

/// Speed of the plunger at contact. Whole micrometres per second, so that a
/// plan is the same bit for bit on every machine.
struct StrikeSpeed {
  std::int64_t um_s = 0;

  auto operator<=>(const StrikeSpeed&) const = default;
};

/// For people and for statistics; plans stay in whole units.
constexpr double to_m_s(StrikeSpeed speed) { return static_cast<double>(speed.um_s) / 1e6; }

}  // namespace plexor::base
