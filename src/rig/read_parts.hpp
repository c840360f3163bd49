#pragma once

#include <cstddef>
#include <string>

#include "base/toml_reader.hpp"
#include "rig/rig_file.hpp"
#include "safety/wiring.hpp"

namespace plexor::rig {

// Parts of a rig file, each read and checked. All throw base::InputError.

inline constexpr std::size_t longest_name = 60;
inline constexpr std::size_t longest_description = 200;

/// A text that people read in one line of a report.
[[nodiscard]] std::string line_of_text(base::TableReader& reader, const std::string& key,
                                       std::size_t longest);

/// `17`, or `{ line = 17, active_low = true }`.
[[nodiscard]] safety::Wire read_wire(base::TableReader& reader, const std::string& key);

/// A text as bytes: it may have line ends and the like.
[[nodiscard]] std::string bytes_of_text(base::TableReader& reader, const std::string& key,
                                        std::size_t longest);

/// `pattern`, `fields` and `keep_lines`.
[[nodiscard]] ReportFormat read_format(base::TableReader& reader);

/// `port` or `usb` and how it is set; not `format`.
[[nodiscard]] SerialSettings read_serial_port(base::TableReader& reader);

// The rest of a [[device.listener]] by its kind.
[[nodiscard]] MqttSettings read_mqtt(base::TableReader& reader);
[[nodiscard]] SocketSettings read_socket(base::TableReader& reader, Transport transport);
[[nodiscard]] WebHookSettings read_web_hook(base::TableReader& reader);

/// [publish].
[[nodiscard]] PublishSettings read_publish(base::TableReader reader);

/// [post].
[[nodiscard]] PostSettings read_post(base::TableReader reader);

/// All [[channel]] of a rig of that kind with those devices.
[[nodiscard]] std::vector<Channel> read_channels(base::TableReader& file,
                                                 const std::vector<Device>& devices, RigKind kind);

/// [[device.listener]], [device.identity] and [device.prepare] of one device. A
/// listener on a line without a chip of its own has an empty one.
void read_listening(base::TableReader& device, Device& into);

/// [device.recovery] of a device of a rig of that kind.
[[nodiscard]] RecoverySettings read_recovery(base::TableReader reader, RigKind kind);

/// Refuses what two devices can't share, two ways of one device that are the same, and what a
/// channel can't share with anything.
void refuse_shared_ways(const base::TableReader& file, const RigFile& rig);
/// Refuses a device that would hear what the controller itself publishes.
void refuse_own_publications(const base::TableReader& file, const RigFile& rig);

}  // namespace plexor::rig
