#include "rig/network/check_socket.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <array>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ip/udp.hpp>
#include <optional>

#include "rig/network/name_lookup.hpp"
#include "rig/network/socket_limits.hpp"
#include "rig/network/socket_server.hpp"

namespace plexor::rig {

namespace {

namespace asio = boost::asio;
namespace ip = boost::asio::ip;
using State = Finding::State;
using boost::system::error_code;

/// The first peer that has no way to the address at which we wait.
std::optional<std::string> peer_kept_out(const SocketSettings& socket) {
  const auto host = ip::make_address(socket.host);
  const bool is_any_v6 = host.is_unspecified() && host.is_v6();
  for (const std::string& text : socket.peers) {
    const auto peer = ip::make_address(text);
    const bool is_other_kind = peer.is_v4() != host.is_v4() && !is_any_v6;
    const bool is_outside = host.is_loopback() && !peer.is_loopback();
    const bool is_usual = peer.is_loopback();  // named where no peers are
    if (is_outside || (is_other_kind && !is_usual)) return text;
  }
  return std::nullopt;
}

std::vector<Finding> check_server(const std::string& subject, const SocketSettings& socket) {
  (void)SocketServer::open(socket);
  std::vector<Finding> findings{{State::good, subject,
                                 fmt::format("{}, free; heard are only {}", place_of(socket),
                                             fmt::join(socket.peers, ", "))}};
  if (const auto peer = peer_kept_out(socket)) {
    findings.push_back({State::warning, subject,
                        fmt::format("{} can't come to {}", *peer, socket.host),
                        "put this computer's address in the device's network into \"host\""});
  }
  return findings;
}

Finding unreachable(const std::string& subject, const SocketSettings& socket,
                    const std::string& why) {
  return {State::bad, subject, fmt::format("{}: {}", place_of(socket), why),
          "check that the device runs and is in this network, and \"host\" and \"port\""};
}

error_code connect_tcp(const ip::tcp::endpoint& endpoint) {
  asio::io_context context;
  ip::tcp::socket socket(context);
  error_code result = asio::error::timed_out;
  socket.async_connect(endpoint, [&](const error_code& error) { result = error; });
  context.run_for(SocketLimits{}.connect);
  return result;
}

/// Says hello, and waits a second for an answer.
error_code greet_udp(const ip::udp::endpoint& endpoint, const std::string& hello) {
  asio::io_context context;
  ip::udp::socket socket(context);
  error_code result;
  socket.connect(endpoint, result);
  if (!result) socket.send(asio::buffer(hello), 0, result);
  if (result) return result;
  result = asio::error::timed_out;
  std::array<char, 1> room{};
  socket.async_receive(asio::buffer(room),
                       [&](const error_code& error, std::size_t) { result = error; });
  context.run_for(std::chrono::seconds{1});
  return result;
}

/// Tries each address until one is good; says how long that one took.
template <typename Protocol, typename Try>
error_code try_each(const SocketSettings& socket, const Try& attempt, base::Duration& took) {
  error_code error;
  for (const auto& address : NameLookup::addresses_of(socket.host, error)) {
    const auto begin = lines::kernel_now();
    error = attempt(typename Protocol::endpoint(address, socket.port));
    took = lines::kernel_now() - begin;
    if (!error) break;
  }
  return error;
}

Finding check_tcp_client(const std::string& subject, const SocketSettings& socket) {
  base::Duration took{};
  const error_code error = try_each<ip::tcp>(socket, connect_tcp, took);
  if (error) return unreachable(subject, socket, error.message());
  return {State::good, subject,
          fmt::format("{}, connected after {:.1f} ms", place_of(socket), base::to_ms(took))};
}

Finding check_udp_client(const std::string& subject, const SocketSettings& socket) {
  base::Duration took{};
  const auto greet = [&](const ip::udp::endpoint& endpoint) {
    return greet_udp(endpoint, socket.hello);
  };
  const error_code error = try_each<ip::udp>(socket, greet, took);
  if (error == asio::error::timed_out) {
    return {State::warning, subject,
            fmt::format("{}, \"hello\" was sent, nothing came back within 1 s", place_of(socket)),
            "if the device answers a hello, check \"host\", \"port\" and \"hello\""};
  }
  if (error) return unreachable(subject, socket, error.message());
  return {State::good, subject,
          fmt::format("{}, answers after {:.1f} ms", place_of(socket), base::to_ms(took))};
}

}  // namespace

std::vector<Finding> check_socket(const Device& device, const ListenerSettings& settings) {
  const auto& socket = std::get<SocketSettings>(settings.way);
  const std::string subject = fmt::format("{} of \"{}\"", settings.name, device.name);
  if (socket.serves) return check_server(subject, socket);
  const bool is_tcp = socket.transport == Transport::tcp;
  return {is_tcp ? check_tcp_client(subject, socket) : check_udp_client(subject, socket)};
}

}  // namespace plexor::rig
