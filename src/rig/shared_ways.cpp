#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <string>

#include "rig/read_parts.hpp"

namespace plexor::rig {

namespace {

/// Two that come to one address and port, from other computers.
bool have_other_peers(const SocketSettings& one, const SocketSettings& other) {
  return one.serves && other.serves &&
         std::ranges::find_first_of(one.peers, other.peers) == one.peers.end();
}

/// Devices that share a way are told apart by where they are, or by what their messages say.
bool may_share(const ListenerSettings& one, const ListenerSettings& other) {
  if (std::holds_alternative<SerialSettings>(one.way)) return false;
  const auto* socket = std::get_if<SocketSettings>(&one.way);
  const auto* other_socket = std::get_if<SocketSettings>(&other.way);
  if (socket != nullptr && other_socket != nullptr) {
    if (socket->serves != other_socket->serves || socket->framing != other_socket->framing)
      return false;
    if (have_other_peers(*socket, *other_socket)) return true;
  }
  const ReportFormat* format = one.format();
  const ReportFormat* other_format = other.format();
  return format != nullptr && other_format != nullptr && format->names_device() &&
         other_format->names_device();
}

}  // namespace

void refuse_shared_ways(const base::TableReader& file, const RigFile& rig) {
  struct Taker {
    const Device* device;
    const ListenerSettings* listener;
  };
  std::map<std::string, Taker> taken;
  for (const Device& device : rig.devices) {
    for (const ListenerSettings& listener : device.listeners) {
      const std::string place = place_of(listener.way);
      const auto [other, is_free] = taken.emplace(place, Taker{&device, &listener});
      if (is_free || place.empty()) continue;
      const bool is_other_device = other->second.device != &device;
      if (is_other_device && may_share(listener, *other->second.listener)) continue;
      file.fail("device",
                fmt::format("{} of \"{}\", which \"{}\" has already", place, device.name,
                            other->second.device->name),
                "a port, line, topic or path of its own for each",
                "or messages that say which device they are from: the group (?P<device>...) of "
                "\"pattern\", or \"device\" of \"fields\"; at one socket of one framing also other "
                "\"peers\"");
    }
  }
}

}  // namespace plexor::rig
