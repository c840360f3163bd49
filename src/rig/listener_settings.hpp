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

/// Where the parts of a report stand in a JSON document: JSON pointers (RFC 6901). In the
/// body of a web form "/name" is the field of that name. Empty: it has none.
struct ReportFields {
  std::string event{};
  std::string device{};
  std::string device_time_ms{};
  std::string strength{};
  std::string id{};

  bool operator==(const ReportFields&) const = default;
};

/// How a device's messages are read: by a pattern or by fields; with neither the
/// whole message is the event.
struct ReportFormat {
  /// RE2, found anywhere in a message, with the group `event` and perhaps `device`,
  /// `device_time_ms`, `strength`, `id`.
  ///
  /// `device` is for a way that several devices share: a message in which it is another
  /// than this device's name is not this device's, and ignored. A message whose `id`
  /// was heard before is the same message once more, and no second event.
  std::string pattern{};
  std::optional<ReportFields> fields{};
  bool keep_lines = false;  ///< raw messages go into the journal

  /// It says which device a message is from.
  [[nodiscard]] bool names_device() const {
    return (fields && !fields->device.empty()) || pattern.find("(?P<device>") != std::string::npos;
  }
};

/// Where a password or token stands. Never in the rig file itself, which goes into journals.
struct SecretPlace {
  std::string file{};      ///< only its owner may read it (mode 600)
  std::string variable{};  ///< or of the environment
};

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
  ReportFormat format{};
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

/// How a server is known to be the right one, and how it knows us.
struct TlsSettings {
  std::string ca_file{};           ///< PEM: who may have signed the server's certificate
  std::string certificate_file{};  ///< PEM: our own, where the server asks for one
  std::string key_file{};          ///< PEM: its key
};

enum class MqttVersion : std::uint8_t { v3_1_1, v5 };

/// A broker and how to come in.
struct BrokerSettings {
  std::string host{};
  std::uint16_t port = 1883;
  MqttVersion version = MqttVersion::v5;  ///< it alone lets a client bound what the broker sends
  std::string user{};                     ///< empty: none
  std::optional<SecretPlace> password{};
  std::optional<TlsSettings> tls{};
};

/// A device that publishes to a broker.
struct MqttSettings {
  BrokerSettings broker{};
  std::string topic{};  ///< a filter: may have the wildcards + and #
  std::int32_t qos = 0;
  ReportFormat format{};
};

enum class Transport : std::uint8_t { tcp, udp };
enum class Framing : std::uint8_t {
  lines,   ///< a line is a message; a datagram may have several
  syslog,  ///< RFC 5424, over TCP as in RFC 6587, over UDP as in RFC 5426: MSG is the message
};

/// A device that sends lines of text over a socket.
struct SocketSettings {
  Transport transport = Transport::tcp;
  bool serves = false;  ///< the device comes to us; else we go to it
  std::string host{};   ///< whom to go to; or the local address at which to wait
  std::uint16_t port = 0;
  std::vector<std::string> peers{};  ///< serves: the addresses that are heard, no other
  Framing framing = Framing::lines;
  /// TCP, serves: without a connection the device can't be heard. False: it comes for
  /// each message anew.
  bool stays_connected = true;
  std::string hello{};  ///< not serves: said first; UDP: and every 10 s
  ReportFormat format{};
};

/// A device that calls us by HTTP.
struct WebHookSettings {
  std::string host{};  ///< the local address at which to wait
  std::uint16_t port = 0;
  std::string path{};  ///< of the request
  SecretPlace token{};
  std::vector<std::string> peers{};  ///< empty: whoever has the token
  ReportFormat format{};
};

/// By what a device is heard.
using Way =
    std::variant<SerialSettings, LineSettings, MqttSettings, SocketSettings, WebHookSettings>;

/// Where it is, for people and to see what is shared: "port /dev/ttyUSB0", "tcp 127.0.0.1:9000".
[[nodiscard]] std::string place_of(const Way& way);

/// One of the ways by which a device is heard.
struct ListenerSettings {
  std::string name{};  ///< for people: "serial", "broker"
  Way way{};

  /// How its messages are read; nothing if it has none.
  [[nodiscard]] const ReportFormat* format() const;
};

/// Where a run tells how it gets on.
struct PublishSettings {
  BrokerSettings broker{};
  std::string topic{};  ///< the begin of its topics: TOPIC/state, TOPIC/outcome, ...
};

/// Where a finished run posts its summary: by HTTP, unencrypted, as devices call us.
struct PostSettings {
  std::string host{};
  std::uint16_t port = 80;
  std::string path{};                  ///< of the request, what stands after a ? included
  std::optional<SecretPlace> token{};  ///< sent as Authorization: Bearer TOKEN
};

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
[[nodiscard]] base::Duration hold_back(const Way& way);

}  // namespace plexor::rig
