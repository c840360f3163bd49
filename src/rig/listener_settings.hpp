#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "base/time.hpp"
#include "safety/wiring.hpp"

namespace plexor::rig {

/// A serial port by what is plugged in, whatever its path is today.
struct UsbIdentity {
  std::uint16_t vendor = 0;
  std::uint16_t product = 0;
  std::string serial{};  ///< empty: any

  bool operator==(const UsbIdentity&) const = default;
};

enum class Parity : std::uint8_t { none, even, odd };
enum class FlowControl : std::uint8_t { none, rts_cts, xon_xoff };
/// The line of a serial port whose pulse resets the device.
enum class ResetLine : std::uint8_t { none, dtr, rts };

/// A device that sends lines of text over a serial port.
struct SerialSettings {
  std::string port{};  ///< path: a port, a pseudo-terminal, a tunnel; empty with `usb`
  std::optional<UsbIdentity> usb{};  ///< instead of a path
  std::int32_t baud = 115'200;
  std::int32_t data_bits = 8;
  Parity parity = Parity::none;
  std::int32_t stop_bits = 1;
  FlowControl flow = FlowControl::none;
  ResetLine reset = ResetLine::none;  ///< pulsed when listening begins
  /// RE2, found anywhere in a line, with the group `event` and perhaps `device`,
  /// `device_time_ms`, `strength`. Empty: the whole line is the event.
  ///
  /// `device` is for a port that several devices share: a line in which the group
  /// has another value than this device's name is not this device's, and ignored.
  std::string pattern{};
  bool keep_lines = false;  ///< raw lines go into the journal
};

/// What a change of a device's output line means.
enum class LineReport : std::uint8_t {
  edge,    ///< each activation is an event
  pulses,  ///< the number of activations close together says which event it is
  level,   ///< an activation that holds for the debounce time is an event
};

/// A device that speaks by an output line of its own, wired to an input of the computer.
struct LineSettings {
  std::string chip{};
  safety::Wire wire{};
  LineReport report = LineReport::edge;
  base::Duration debounce{};
  base::Duration pulse_gap{};         ///< pulses: the longest distance between two of one event
  std::vector<std::string> events{};  ///< pulses: of one pulse, of two, ...; else the one event
};

using ListenerSettings = std::variant<SerialSettings, LineSettings>;

/// How a device on a serial port is asked who it is.
struct IdentitySettings {
  std::string query{};       ///< sent as it stands, its line end included
  std::string pattern{};     ///< RE2 with the group `version`
  base::Duration timeout{};  ///< without an answer for so long it counts as lost
  std::string banner{};  ///< RE2: a line that shows that it has started anew; goes before `pattern`
  std::optional<base::Duration> alive_every{};  ///< asked again so often; nothing: only at starts
};

/// A command that makes the device ready before a run, as one that writes its firmware.
struct PrepareSettings {
  std::vector<std::string> command{};  ///< program and arguments; no shell
  base::Duration timeout{};
};

/// How long after its arrival a report may become known: a count of pulses is
/// settled only by the silence after it. Whoever orders reports by arrival waits so long.
[[nodiscard]] base::Duration hold_back(const ListenerSettings& settings);

}  // namespace plexor::rig
