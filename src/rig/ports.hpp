#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <variant>
#include <vector>

#include "base/event.hpp"
#include "base/pulse.hpp"
#include "base/time.hpp"

namespace plexor::rig {

/// A pulse was given to the coil: when it really began and ended.
struct PulseFired {
  std::uint32_t tap = 0;  ///< index within the pulses last fired
  base::Pulse actual;
};

/// The contact sensor saw the plunger touch the surface.
struct ContactSensed {
  base::Instant at;
};

/// The flag on the plunger has passed the speed gate.
struct GatePassed {
  base::Duration covered{};
  base::Instant at;  ///< when it left
};

/// A device can't be heard any more by one of its listeners, or can be heard again.
struct ListenerChanged {
  std::uint32_t device = 0;
  bool up = false;
  /// Down: since when; up to base::longest_unnoticed before it was noticed, and so the only
  /// observation that may lie before what was observed before.
  base::Instant at;
  std::uint32_t listener = 0;  ///< which of the device's
};

/// A device sent a line, event or not: told where the rig file says keep_lines.
struct LineHeard {
  std::uint32_t device = 0;
  std::string text;
  base::Instant at;
  std::uint32_t listener = 0;  ///< which of the device's
};

/// Leave to tap has ended, by a trip or with its ticket: no pulse is given any more.
struct LeaveEnded {
  std::string reason;    ///< "tripped: lid"
  bool tripped = false;  ///< else it ended as it was agreed
  base::Instant at;
};

/// A channel's next samples. Two that lie farther apart than longest_adjustment, or overlap by
/// more, have a gap between them.
struct SamplesHeard {
  /// By so much more or less than their period may lie between two that follow each other: the
  /// sender's clock is known a little better or worse each time.
  static constexpr base::Duration longest_adjustment = std::chrono::milliseconds{1};

  std::uint32_t channel = 0;
  base::Instant first;      ///< when the first of them was taken
  base::Duration period{};  ///< between them
  std::vector<std::int32_t> values;
};

/// A line of the rig, or a person, told of something that may have shaken the surface.
struct DisturbanceSensed {
  std::string name;  ///< "kiln door"
  std::string by;    ///< "hand", or which line
  base::Instant from;
  base::Instant to;
  base::Instant at;  ///< when it was told
};

/// What people's clocks say, told where it is another time than was known.
struct ClockSeen {
  base::Instant at;
  std::int64_t wall_ns = 0;       ///< Unix time then
  std::int32_t utc_offset_s = 0;  ///< of local time, east positive
  bool operator==(const ClockSeen&) const = default;
};

using Observation =
    std::variant<PulseFired, ContactSensed, GatePassed, base::Event, ListenerChanged, LineHeard,
                 LeaveEnded, SamplesHeard, DisturbanceSensed, ClockSeen>;

/// When an observation was made; observations come in the order of this instant.
/// A pulse is observed when it has ended, so at its off edge; samples with the last of them.
[[nodiscard]] base::Instant instant_of(const Observation& observation);

/// Gives pulses to the coil.
class Actuator {
 public:
  virtual ~Actuator() = default;
  /// Queues the pulses of one trial, in time order, all in the future. At most
  /// one trial is queued: throws base::RigFault if pulses are still pending.
  virtual void fire(std::span<const base::Pulse> pulses) = 0;
  /// De-energises now and drops what is queued. Safe to call at any time, from any state.
  virtual void make_safe() noexcept = 0;
};

/// Everything that is sensed or heard.
class Senses {
 public:
  virtual ~Senses() = default;
  /// Waits until something is observed or the deadline has come, whichever is
  /// first; nothing means the deadline. Clock::now() has then reached the
  /// observation's instant or the deadline.
  virtual std::optional<Observation> observe_until(base::Instant deadline) = 0;
};

/// The supplies of the devices under test, never the coil's.
class PowerSwitch {
 public:
  virtual ~PowerSwitch() = default;
  /// Takes a device's power away, or gives it back; at first, and after the run, each has it.
  /// Throws base::RigFault where it can't be done.
  virtual void set_power(std::uint32_t device, bool on) = 0;
};

class Clock {
 public:
  virtual ~Clock() = default;
  [[nodiscard]] virtual base::Instant now() const = 0;
};

}  // namespace plexor::rig
