#pragma once

#include <cstdint>
#include <optional>
#include <string_view>

#include "lines/lines.hpp"

namespace plexor::safety {

// What the warden does, without lines, memory or clocks: evidence in, orders out.
// The warden is a process of its own (src/app/warden_main.cpp) that holds the
// stop loop, lid, enable, watchdog and coil-sense lines. It gives power only
// while every evidence is in time, and feeds the watchdog only then: the one-shot
// outside turns a starved watchdog into no power, whatever the lines do.

/// How long each evidence is good for.
struct WardenLimits {
  base::Duration heartbeat_age{};  ///< a heartbeat older than this is missing
  base::Duration
      longest_pulse{};  ///< sensed coil current for longer is a fault; above the plan limit
  base::Duration
      longest_tick{};  ///< the warden itself came too late: it can't vouch for the time between
};

/// What the warden sees at one tick. Everything that could not be read is left out.
struct Evidence {
  lines::KernelInstant now;
  std::optional<bool> loop_closed;
  std::optional<bool> lid_closed;
  std::optional<bool> coil_on;
  bool controller_lives = false;         ///< its process has not ended
  std::uint64_t heartbeat = 0;           ///< number of the controller's newest heartbeat
  lines::KernelInstant heartbeat_at;     ///< when it says it was made
  bool power_wanted = false;             ///< the controller asks for power
  std::uint64_t acknowledged_trips = 0;  ///< trips that a person has cleared, by count
};

/// Why the warden took the power, or does not give it.
enum class WardenCause : std::uint8_t {
  stop_loop,
  lid,
  controller_gone,
  heartbeat_missing,
  heartbeat_wrong,  ///< from the future, or counting backwards
  pulse_too_long,
  coil_unsensed,  ///< the coil's state could not be read
  late,           ///< the warden itself was held up
};
[[nodiscard]] std::string_view to_text(WardenCause cause);

struct Orders {
  bool enable = false;         ///< level of the enable line
  bool feed_watchdog = false;  ///< toggle the watchdog line now
};

class WardenDuty {
 public:
  explicit WardenDuty(const WardenLimits& limits) : limits_(limits) {}

  /// One tick. Orders are to be carried out at once; without a next tick in time the
  /// watchdog starves.
  [[nodiscard]] Orders tick(const Evidence& evidence);

  /// What stands against power now.
  [[nodiscard]] std::optional<WardenCause> standing() const { return standing_; }
  /// Latched: power was on when this came. Until the controller says that a
  /// person has cleared it.
  [[nodiscard]] std::optional<WardenCause> tripped() const { return tripped_; }
  /// How often it tripped so far.
  [[nodiscard]] std::uint64_t trips() const { return trips_; }

 private:
  [[nodiscard]] std::optional<WardenCause> cause_in(const Evidence& evidence);
  [[nodiscard]] std::optional<WardenCause> coil_cause(const Evidence& evidence);

  WardenLimits limits_;
  std::optional<lines::KernelInstant> last_tick_;
  std::optional<lines::KernelInstant> coil_on_since_;
  std::uint64_t heartbeat_ = 0;
  std::optional<lines::KernelInstant> heartbeat_seen_;  ///< when its number last grew
  bool powered_ = false;
  std::optional<WardenCause> standing_ = WardenCause::heartbeat_missing;
  std::optional<WardenCause> tripped_;
  std::uint64_t trips_ = 0;
};

}  // namespace plexor::safety
