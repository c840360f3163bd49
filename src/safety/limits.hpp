#pragma once

#include <optional>
#include <span>
#include <string>
#include <vector>

#include "base/pulse.hpp"
#include "base/strike_speed.hpp"
#include "base/time.hpp"
#include "safety/thermal.hpp"

namespace plexor::safety {

/// Plan limits of one tapper, from the rig file. Compiled ceilings stand above them.
struct Limits {
  base::Duration max_pulse{};       ///< longest single pulse
  base::Duration min_rest{};        ///< shortest off time between pulses
  double duty_percent = 0.0;        ///< relative duty of the coil's class: 100 on / (on + off)
  base::Duration duty_span{};       ///< span over which it is taken (DIN VDE 0580 prefers 5 min)
  base::Duration max_on_in_span{};  ///< longest total on time of the class within a span
  double max_coil_c = 0.0;          ///< highest modelled winding temperature
  double coil_margin_k = 0.0;       ///< kept below max_coil_c, for what the model does not know
  double max_energy_j = 0.0;        ///< highest impact energy
  double moving_mass_kg = 0.0;      ///< of plunger and tip
  double tip_diameter_m = 0.0;
  double seated_force_n = 0.0;  ///< largest force with the plunger held at its end
  double max_tip_pressure_pa = 0.0;
};

/// No rig file may go above these; they are compiled in.
struct Ceilings {
  base::Duration max_pulse = std::chrono::milliseconds{200};
  double duty_percent = 40.0;
  double max_coil_c = 120.0;
  double max_energy_j = 0.5;
  double max_tip_pressure_pa = 2.0e6;
};
inline constexpr Ceilings ceilings{};

/// Why something was refused: which limit, what was found, what would fit. One sentence.
struct Refusal {
  std::string limit;  ///< "pulse length", "rest", "duty", "coil temperature", "impact energy", "tip
                      ///< pressure", "ceiling"
  std::string reason;  ///< "pulse 2 is 34.0 ms long; the limit is 30.0 ms"
};

/// Limits that themselves break a ceiling, or contradict each other.
[[nodiscard]] std::optional<Refusal> check_limits(const Limits& limits);

/// Whether a strike this fast fits the energy limit.
[[nodiscard]] std::optional<Refusal> check_strike(const Limits& limits, base::StrikeSpeed strike);

/// Watches all pulses of a run against the limits. A value: copy it to look ahead.
/// Time must not go backwards between calls.
class PulseCheck {
 public:
  PulseCheck(const Limits& limits, const CoilModel& coil, const CoilState& start,
             base::Instant now);

  /// Whether these pulses (time order, one trial) may follow all accepted ones.
  [[nodiscard]] std::optional<Refusal> check(std::span<const base::Pulse> pulses) const;
  /// Takes checked pulses into account.
  void accept(std::span<const base::Pulse> pulses);

  /// Modelled coil temperatures at `now`, not earlier than the last accepted pulse's end.
  [[nodiscard]] CoilState coil_at(base::Instant now) const;
  /// On time within the span that ends at `now`, as a percentage of the span.
  [[nodiscard]] double duty_percent_at(base::Instant now) const;

 private:
  Limits limits_;
  CoilModel coil_;
  CoilState state_;
  base::Instant state_at_;
  std::vector<base::Pulse> recent_;  ///< accepted pulses that still touch the duty span
};

}  // namespace plexor::safety
