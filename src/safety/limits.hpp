#pragma once

#include <chrono>
#include <cstddef>
#include <deque>
#include <optional>
#include <span>
#include <string>

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
                      ///< pressure", "ceiling", "instant" (outside what the clock or the order of
                      ///< time allows)
  std::string reason;  ///< "pulse 2 is 34 ms long; the limit is 30 ms, which would fit"
  /// Beginning so much later would fit, where waiting helps at all.
  std::optional<base::Duration> later{};
};

/// Limits that themselves break a ceiling, contradict each other, or are no numbers.
[[nodiscard]] std::optional<Refusal> check_limits(const Limits& limits);

/// Whether a strike this fast fits the energy limit (m v^2 / 2).
[[nodiscard]] std::optional<Refusal> check_strike(const Limits& limits, base::StrikeSpeed strike);

/// Longest total on time within any duty span: duty_percent of the span, or
/// max_on_in_span if that is less (DIN VDE 0580: both limits apply).
[[nodiscard]] base::Duration allowed_on_in_span(const Limits& limits);

/// What the coil has behind it when a run begins.
struct CoilPast {
  CoilState state;                  ///< now
  base::Duration on_in_span{};      ///< on time of the duty span that ended with its last pulse
  base::Duration since_last_off{};  ///< how long ago that was
};

/// Watches all pulses of a run against the limits. A value: copy it to look ahead.
/// Time must not go backwards between calls.
class PulseCheck {
 public:
  /// Throws std::logic_error for limits that check_limits() refuses and for a
  /// coil whose values are not positive and finite: neither can protect.
  PulseCheck(const Limits& limits, const CoilModel& coil, const CoilPast& past, base::Instant now);

  /// Whether these pulses (time order, one trial) may follow all accepted ones.
  /// The refusal counts the pulses of the trial from 1.
  [[nodiscard]] std::optional<Refusal> check(std::span<const base::Pulse> pulses) const;
  /// Takes pulses into account, fitting or not: what was given to the coil has
  /// heated it. Throws std::logic_error for pulses that overlap, are before
  /// what was accepted, or have a negative length.
  void accept(std::span<const base::Pulse> pulses);

  /// What a later check would have to know, at `now` (as in coil_at).
  [[nodiscard]] CoilPast past_at(base::Instant now) const;

  /// Modelled coil temperatures at `now`, not earlier than the last accepted pulse's end.
  [[nodiscard]] CoilState coil_at(base::Instant now) const;
  /// On time within the span that ends at `now`, as a percentage of the span.
  /// `now` is not earlier than the last accepted pulse's end.
  [[nodiscard]] double duty_percent_at(base::Instant now) const;

 private:
  /// A pulse with the on time of all pulses before it.
  struct Given {
    base::Pulse pulse;
    base::Duration on_before{};
  };
  /// A pulse about to be checked, and the coil when the one before it ended.
  struct Next {
    std::span<const base::Pulse> trial;  ///< the trial's pulses up to this one
    CoilState coil;
    base::Instant coil_at;
    bool after_pulse = false;

    [[nodiscard]] const base::Pulse& pulse() const { return trial.back(); }
    [[nodiscard]] std::size_t number() const { return trial.size(); }
  };

  /// What a pulse makes of the coil.
  struct Heated {
    CoilState at_end;
    double peak_c = 0.0;
  };

  [[nodiscard]] std::optional<Refusal> check_length(const Next& next) const;
  [[nodiscard]] std::optional<Refusal> check_instant(const Next& next) const;
  [[nodiscard]] std::optional<Refusal> check_rest(const Next& next) const;
  [[nodiscard]] std::optional<Refusal> check_duty(const Next& next) const;
  [[nodiscard]] std::optional<Refusal> check_coil(const Next& next, double peak_c) const;
  [[nodiscard]] base::Duration on_until(base::Instant at) const;
  [[nodiscard]] base::Duration wait_for_duty(const Next& next) const;
  [[nodiscard]] Heated heat(const Next& next, base::Duration wait) const;
  void require_not_past(base::Instant now) const;

  Limits limits_;
  CoilModel coil_;
  CoilState state_;
  base::Instant state_at_;
  std::deque<Given> recent_;  ///< accepted pulses that still touch the duty span, at least the last
};

}  // namespace plexor::safety
