#include <fmt/format.h>
#include <mosquitto.h>

#include <algorithm>
#include <boost/asio/ip/address.hpp>
#include <charconv>
#include <filesystem>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rig/read_parts.hpp"

namespace plexor::rig {

using base::TableReader;

namespace {

constexpr std::size_t longest_host = 253;  // RFC 1035, 2.3.4
constexpr std::size_t longest_topic = 200;
constexpr std::size_t longest_url = 500;
/// Those that every client sends as they are (RFC 3986, 3.3).
constexpr const char* path_characters =
    "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-._~!$&'()*+,;=:@/";

std::uint16_t read_port(TableReader& reader) {
  return static_cast<std::uint16_t>(reader.whole("port", 1, 65'535));
}

boost::asio::ip::address address_in(TableReader& reader, const std::string& key,
                                    const std::string& text) {
  boost::system::error_code error;
  auto address = boost::asio::ip::make_address(text, error);
  if (error) {
    reader.fail(key, fmt::format("\"{:.60}\"", text), "an IPv4 or IPv6 address",
                "as \"192.168.7.20\"; a local one: \"ip address\" lists them");
  }
  return address;
}

/// The local address at which to wait. Not seen from outside unless told otherwise.
std::string read_local_address(TableReader& reader) {
  const std::string text = reader.text_or("host", "127.0.0.1");
  return address_in(reader, "host", text).to_string();
}

std::vector<std::string> read_peers(TableReader& reader) {
  std::vector<std::string> peers;
  if (!reader.has("peers")) return peers;
  for (const std::string& text : reader.texts("peers")) {
    peers.push_back(address_in(reader, "peers", text).to_string());
  }
  return peers;
}

/// Files are named from where the rig file is.
std::string read_file_name(TableReader& reader, const std::string& key) {
  const std::string name = line_of_text(reader, key, longest_description);
  return (std::filesystem::path(reader.place().file).parent_path() / name).string();
}

/// Whoever reads a rig file or a journal must not find a secret there.
std::optional<SecretPlace> read_secret(TableReader& reader, const std::string& what) {
  const std::string file_key = what + "_file";
  const std::string variable_key = what + "_env";
  if (reader.has(what)) {
    reader.fail(what, "a secret in a file that goes into every journal",
                fmt::format("\"{}\" or \"{}\"", file_key, variable_key),
                "put it into a file that only you can read (chmod 600), and name that");
  }
  if (reader.has(file_key) && reader.has(variable_key)) {
    reader.fail(variable_key, "a second place of the same secret",
                fmt::format("either \"{}\" or \"{}\"", file_key, variable_key));
  }
  if (reader.has(file_key)) return SecretPlace{.file = read_file_name(reader, file_key)};
  if (reader.has(variable_key))
    return SecretPlace{.variable = line_of_text(reader, variable_key, longest_name)};
  return std::nullopt;
}

TlsSettings read_tls(TableReader reader) {
  TlsSettings tls{read_file_name(reader, "ca_file")};
  if (reader.has("certificate_file") || reader.has("key_file")) {
    tls.certificate_file = read_file_name(reader, "certificate_file");
    tls.key_file = read_file_name(reader, "key_file");
  }
  reader.finish();
  return tls;
}

BrokerSettings read_broker(TableReader& reader) {
  BrokerSettings broker;
  broker.host = line_of_text(reader, "host", longest_host);
  broker.port = read_port(reader);
  if (reader.has("version")) {
    const bool is_5 = reader.choice("version", {"3.1.1", "5"}) == "5";
    broker.version = is_5 ? MqttVersion::v5 : MqttVersion::v3_1_1;
  }
  if (reader.has("user")) broker.user = line_of_text(reader, "user", longest_name);
  broker.password = read_secret(reader, "password");
  if (broker.password && broker.user.empty()) {
    reader.fail("user", "a password without a \"user\"", "both, or none");
  }
  if (auto tls = reader.table_if("tls")) broker.tls = read_tls(std::move(*tls));
  return broker;
}

std::string read_topic(TableReader& reader, int (*check)(const char*),
                       const std::string& expected) {
  std::string topic = line_of_text(reader, "topic", longest_topic);
  if (check(topic.c_str()) != MOSQ_ERR_SUCCESS) {
    reader.fail("topic", fmt::format("\"{:.60}\"", topic), expected);
  }
  return topic;
}

bool is_loopback(const std::string& address) {
  return boost::asio::ip::make_address(address).is_loopback();
}

/// A device that comes to us: from whom is said, or it is on this computer.
void read_server(TableReader& reader, SocketSettings& socket) {
  socket.host = read_local_address(reader);
  socket.peers = read_peers(reader);
  if (socket.peers.empty() && !is_loopback(socket.host)) {
    reader.fail("peers", "nobody who may send",
                "the addresses of the devices, as peers = [\"...\"]",
                "what comes from anybody else is not counted");
  }
  if (socket.peers.empty()) socket.peers = {"127.0.0.1", "::1"};
  if (socket.transport == Transport::tcp)
    socket.stays_connected = reader.flag_or("stays_connected", true);
}

void read_client(TableReader& reader, SocketSettings& socket) {
  socket.host = line_of_text(reader, "host", longest_host);
  if (reader.has("hello")) socket.hello = bytes_of_text(reader, "hello", longest_description);
  if (socket.transport == Transport::udp && socket.hello.empty()) {
    reader.fail("hello", "nothing to say to the device",
                "the datagram that makes it send, as hello",
                "or let the device come here: serves = true");
  }
}

std::optional<std::uint16_t> port_in(std::string_view text) {
  std::uint16_t port = 0;
  const char* end = text.data() + text.size();
  const auto [stop, error] = std::from_chars(text.data(), end, port);
  if (error != std::errc{} || stop != end || port == 0) return std::nullopt;
  return port;
}

/// http://HOST[:PORT][/PATH][?QUERY] (RFC 3986); an IPv6 address in brackets. Nothing if it is no
/// such URL.
std::optional<PostSettings> parts_of_url(std::string_view url) {
  constexpr std::string_view scheme = "http://";
  if (!url.starts_with(scheme)) return std::nullopt;
  url.remove_prefix(scheme.size());
  PostSettings parts;
  const std::size_t rest = std::min(url.find_first_of("/?"), url.size());
  parts.path = url.substr(rest);
  if (!parts.path.starts_with('/')) parts.path.insert(0, "/");
  const std::string characters = std::string{path_characters} + "%?";
  if (parts.path.find_first_not_of(characters) != std::string::npos) return std::nullopt;
  std::string_view authority = url.substr(0, rest);
  const bool is_ipv6 = authority.starts_with('[');
  const std::size_t end = is_ipv6 ? authority.find(']') : authority.find(':');
  parts.host = authority.substr(is_ipv6 ? 1 : 0, end - (is_ipv6 ? 1 : 0));
  authority.remove_prefix(std::min(end, authority.size()));
  if (is_ipv6 && !authority.empty()) authority.remove_prefix(1);
  if (authority.starts_with(':')) {
    const auto port = port_in(authority.substr(1));
    if (!port) return std::nullopt;
    parts.port = *port;
  } else if (!authority.empty()) {
    return std::nullopt;
  }
  const bool is_host = !parts.host.empty() && parts.host.size() <= longest_host &&
                       parts.host.find_first_of("@ []") == std::string::npos;
  return is_host ? std::optional{parts} : std::nullopt;
}

}  // namespace

MqttSettings read_mqtt(TableReader& reader) {
  MqttSettings mqtt;
  mqtt.broker = read_broker(reader);
  mqtt.topic = read_topic(reader, mosquitto_sub_topic_check,
                          "a topic filter, as \"workshop/panel/knock\" or \"workshop/+/knock\"");
  mqtt.qos = reader.has("qos") ? static_cast<std::int32_t>(reader.whole("qos", 0, 1)) : 0;
  mqtt.format = read_format(reader);
  return mqtt;
}

SocketSettings read_socket(TableReader& reader, Transport transport) {
  SocketSettings socket;
  socket.transport = transport;
  socket.serves = reader.flag_or("serves", false);
  socket.port = read_port(reader);
  if (socket.serves) {
    read_server(reader, socket);
  } else {
    read_client(reader, socket);
  }
  if (reader.has("framing")) {
    const bool is_syslog = reader.choice("framing", {"lines", "syslog"}) == "syslog";
    socket.framing = is_syslog ? Framing::syslog : Framing::lines;
  }
  socket.format = read_format(reader);
  return socket;
}

WebHookSettings read_web_hook(TableReader& reader) {
  WebHookSettings hook;
  hook.host = read_local_address(reader);
  hook.port = read_port(reader);
  hook.path = line_of_text(reader, "path", longest_description);
  if (hook.path.front() != '/' ||
      hook.path.find_first_not_of(path_characters) != std::string::npos) {
    reader.fail("path", fmt::format("\"{:.60}\"", hook.path), "a path, as \"/knock/panel\"");
  }
  const auto token = read_secret(reader, "token");
  if (!token) {
    reader.fail("token_file", "no token", "\"token_file\" or \"token_env\"",
                "who calls shows that it is the device: Authorization: Bearer TOKEN");
  }
  hook.token = *token;
  hook.peers = read_peers(reader);
  hook.format = read_format(reader);
  return hook;
}

PublishSettings read_publish(TableReader reader) {
  PublishSettings publish;
  publish.broker = read_broker(reader);
  publish.topic = read_topic(reader, mosquitto_pub_topic_check,
                             "a topic without wildcards, as \"workshop/rig-1\"");
  reader.finish();
  return publish;
}

PostSettings read_post(TableReader reader) {
  const std::string url = line_of_text(reader, "url", longest_url);
  const auto post = parts_of_url(url);
  if (!post) {
    reader.fail("url", fmt::format("\"{:.60}\"", url), "a URL as \"http://192.168.7.2:8080/runs\"",
                "it goes unencrypted (no https): use a network of the rig's own");
  }
  PostSettings settings = *post;
  settings.token = read_secret(reader, "token");
  reader.finish();
  return settings;
}

}  // namespace plexor::rig
