#include <fmt/format.h>
#include <mosquitto.h>

#include <algorithm>
#include <boost/asio/ip/address.hpp>
#include <map>
#include <set>
#include <string>
#include <vector>

#include "rig/network/socket_ear.hpp"
#include "rig/read_parts.hpp"

namespace plexor::rig {

namespace {

/// An address may be written in several ways.
std::set<boost::asio::ip::address> addresses_of(const SocketSettings& socket) {
  std::set<boost::asio::ip::address> addresses;
  for (const std::string& peer : socket.peers) {
    addresses.insert(plain_address(boost::asio::ip::make_address(peer)));
  }
  return addresses;
}

/// Two that come to one address and port, from other computers.
bool have_other_peers(const SocketSettings& one, const SocketSettings& other) {
  if (!one.serves || !other.serves) return false;
  const auto addresses = addresses_of(one);
  return std::ranges::none_of(addresses_of(other),
                              [&](const auto& peer) { return addresses.contains(peer); });
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

/// A port's bytes go to one reader.
void refuse_shared_sources(const base::TableReader& file, const RigFile& rig) {
  std::map<std::string, std::string> taken;
  for (const Device& device : rig.devices) {
    for (const ListenerSettings& listener : device.listeners) {
      taken.emplace(place_of(listener.way), device.name);
    }
  }
  for (const Channel& channel : rig.channels) {
    const std::string place = place_of(channel.source);
    if (place.empty()) continue;
    const auto [other, is_free] = taken.emplace(place, channel.name);
    if (is_free) continue;
    file.fail(
        "channel",
        fmt::format("{} of \"{}\", which \"{}\" has already", place, channel.name, other->second),
        "a port or file of its own for each",
        "samples can't come between the lines that a device reports by");
  }
}

}  // namespace

void refuse_shared_ways(const base::TableReader& file, const RigFile& rig) {
  refuse_shared_sources(file, rig);
  struct Taker {
    const Device* device;
    const ListenerSettings* listener;
  };
  std::map<std::string, std::vector<Taker>> taken;
  for (const Device& device : rig.devices) {
    for (const ListenerSettings& listener : device.listeners) {
      const std::string place = place_of(listener.way);
      if (place.empty()) continue;
      for (const Taker& other : taken[place]) {
        if (other.device != &device && may_share(listener, *other.listener)) continue;
        file.fail("device",
                  fmt::format("{} of \"{}\", which \"{}\" has already", place, device.name,
                              other.device->name),
                  "a port, line, topic or path of its own for each",
                  "or messages that say which device they are from: the group (?P<device>...) of "
                  "\"pattern\", or \"device\" of \"fields\"; at one socket of one framing also "
                  "other \"peers\"");
      }
      taken[place].push_back({&device, &listener});
    }
  }
}

void refuse_own_publications(const base::TableReader& file, const RigFile& rig) {
  if (!rig.publish) return;
  const BrokerSettings& broker = rig.publish->broker;
  const std::string own = rig.publish->topic + "/outcome";
  for (const Device& device : rig.devices) {
    for (const ListenerSettings& listener : device.listeners) {
      const auto* mqtt = std::get_if<MqttSettings>(&listener.way);
      if (mqtt == nullptr || mqtt->broker.host != broker.host || mqtt->broker.port != broker.port) {
        continue;
      }
      bool is_heard = false;
      (void)mosquitto_topic_matches_sub(mqtt->topic.c_str(), own.c_str(), &is_heard);
      if (!is_heard) continue;
      file.fail("publish",
                fmt::format("the topic \"{}\", which \"{}\" listens to by \"{}\"",
                            rig.publish->topic, device.name, mqtt->topic),
                "a topic that no device listens to", "the controller would hear itself");
    }
  }
}

}  // namespace plexor::rig
