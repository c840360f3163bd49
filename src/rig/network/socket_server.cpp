#include "rig/network/socket_server.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ip/udp.hpp>
#include <boost/asio/post.hpp>
#include <functional>
#include <list>
#include <map>
#include <thread>
#include <utility>

#include "base/error.hpp"
#include "rig/network/ear_list.hpp"
#include "rig/network/framer.hpp"
#include "rig/network/receive.hpp"
#include "rig/network/tcp_stream.hpp"
#include "rig/one_timer.hpp"

namespace plexor::rig {

namespace {

namespace asio = boost::asio;
namespace ip = boost::asio::ip;
using boost::system::error_code;
using lines::KernelInstant;
using namespace std::chrono_literals;

std::string remedy_for(const error_code& error) {
  if (error == asio::error::address_in_use) return "another program has it: ss -tulpn says which";
  if (error == asio::error::access_denied) return "ports below 1024 are for root: take another";
  return "check \"host\" and \"port\"; \"ip address\" lists this computer's addresses";
}

/// Opens and binds it. Throws base::RigFault.
template <typename Socket>
void bind_to(Socket& socket, const SocketSettings& settings) {
  using Protocol = typename Socket::protocol_type;
  const typename Protocol::endpoint endpoint(ip::make_address(settings.host), settings.port);
  try {
    socket.open(endpoint.protocol());
    if constexpr (std::is_same_v<Protocol, ip::tcp>)
      socket.set_option(asio::socket_base::reuse_address(true));
    socket.bind(endpoint);
  } catch (const boost::system::system_error& error) {
    throw base::RigFault(fmt::format("{}: {}; {}", place_of(settings), error.code().message(),
                                     remedy_for(error.code())));
  }
}

class UdpServer final : public SocketServer {
 public:
  UdpServer(const SocketSettings& settings, const SocketLimits& limits)
      : framing_(settings.framing), limits_(limits) {
    constexpr int kernels_buffer = 1 << 20;
    bind_to(socket_, settings);
    is_stamped_ = ask_for_stamps(socket_.native_handle());
    ask_for_losses(socket_.native_handle());
    error_code ignored;
    socket_.set_option(asio::socket_base::receive_buffer_size(kernels_buffer), ignored);
    await_datagrams();
    thread_ = std::thread([this] { context_.run(); });
  }
  ~UdpServer() override {
    context_.stop();
    thread_.join();
  }
  UdpServer(const UdpServer&) = delete;
  UdpServer& operator=(const UdpServer&) = delete;

  void add(SocketEar& ear) override { ears_.add(ear); }
  void remove(SocketEar& ear) override { ears_.remove(ear); }
  [[nodiscard]] bool is_stamped() const override { return is_stamped_; }

 private:
  void await_datagrams() {
    socket_.async_wait(ip::udp::socket::wait_read, [this](const error_code& error) {
      if (!error) read_some();
    });
  }

  /// A part of a flood at a time, so that others have their turn.
  void read_some() {
    constexpr int most_reads = 64;
    for (int i = 0; i < most_reads; ++i) {
      const Received received = receive(socket_.native_handle(), room_);
      if (received.must_wait()) break;
      if (!received.error) take(received);
    }
    await_datagrams();
  }

  void take(const Received& received) {
    const ip::address peer = plain_address(received.from.address());
    if (const auto losses = losses_.count(received)) {
      ears_.for_each([&](SocketEar& ear) { ear.take_losses(*losses); });
      timer_.after(limits_.without_losses, [this] {
        ears_.for_each([](SocketEar& ear) { ear.tell_state(true, lines::kernel_now()); });
      });
    }
    if (!ears_.expects(peer)) return ears_.remark_stranger(peer);
    ears_.for_each_of(peer, [&](SocketEar& ear) {
      const auto take_message = [&](std::string_view message) {
        ear.take(message, received.stamp.at);
      };
      if (received.is_cut) return ear.take_overlong_datagram(longest_datagram);
      if (split_datagram(framing_, received.bytes, take_message) > 0) ear.take_overlong();
    });
  }

  Framing framing_;
  SocketLimits limits_;
  asio::io_context context_{1};
  OneTimer timer_{context_};
  ip::udp::socket socket_{context_};
  bool is_stamped_ = false;
  Losses losses_;
  EarList ears_;
  std::array<char, longest_datagram> room_{};
  std::thread thread_;
};

class TcpServer final : public SocketServer {
 public:
  TcpServer(const SocketSettings& settings, const SocketLimits& limits)
      : framing_(settings.framing), limits_(limits) {
    bind_to(acceptor_, settings);
    is_stamped_ = ask_for_stamps(acceptor_.native_handle());
    listen_at(settings);
    await_peer();
    thread_ = std::thread([this] { context_.run(); });
  }
  ~TcpServer() override {
    context_.stop();
    thread_.join();
  }
  TcpServer(const TcpServer&) = delete;
  TcpServer& operator=(const TcpServer&) = delete;

  void add(SocketEar& ear) override {
    ears_.add(ear);
    asio::post(context_, [this] { tell_states(); });
  }
  void remove(SocketEar& ear) override {
    ears_.remove(ear);
    asio::post(context_, [this] { drop_unexpected(); });
  }
  [[nodiscard]] bool is_stamped() const override { return is_stamped_; }

 private:
  /// Oldest first.
  struct Connection {
    ip::address peer;
    std::shared_ptr<TcpStream> stream;
  };
  using Connections = std::list<Connection>;

  void listen_at(const SocketSettings& settings) {
    error_code error;
    acceptor_.listen(static_cast<int>(most_connections), error);
    if (error) {
      throw base::RigFault(
          fmt::format("{}: {}; {}", place_of(settings), error.message(), remedy_for(error)));
    }
  }

  void await_peer() {
    acceptor_.async_accept([this](const error_code& error, ip::tcp::socket socket) {
      constexpr base::Duration breather = 100ms;  // no descriptors left: some will be
      if (error) return timer_.after(breather, [this] { await_peer(); });
      welcome(std::move(socket));
      await_peer();
    });
  }

  void welcome(ip::tcp::socket socket) {
    error_code error;
    const ip::address peer = plain_address(socket.remote_endpoint(error).address());
    if (error) return;  // it has left already
    if (!ears_.expects(peer)) return ears_.remark_stranger(peer);
    prepare_stream(socket);
    const auto at = connections_.insert(connections_.end(), Connection{peer, nullptr});
    at->stream = std::make_shared<TcpStream>(std::move(socket), framing_, limits_, hearer(at));
    const auto stream = at->stream;
    if (connections_.size() > most_connections) drop_one();
    tell_states();
    stream->begin();
  }

  TcpStream::Hearer hearer(Connections::iterator at) {
    const ip::address peer = at->peer;
    return {
        .take =
            [this, peer](std::string_view message, KernelInstant arrived) {
              ears_.for_each_of(peer, [&](SocketEar& ear) { ear.take(message, arrived); });
            },
        .overlong =
            [this, peer] { ears_.for_each_of(peer, [](SocketEar& ear) { ear.take_overlong(); }); },
        .end =
            [this, peer, at](const std::string& why, KernelInstant heard_until) {
              connections_.erase(at);
              say_end(peer, why);
              tell_end(peer, heard_until);
            }};
  }

  /// Also a device that has connected anew may have said something in between.
  void tell_end(const ip::address& peer, KernelInstant heard_until) {
    ears_.for_each_of(peer, [&](SocketEar& ear) {
      if (ear.settings().stays_connected) ear.lose(heard_until);
    });
    tell_states();
  }

  void say_end(const ip::address& peer, const std::string& why) {
    if (why.empty()) return;
    ears_.for_each_of(peer, [&](SocketEar& ear) {
      ear.remark_once("its connection was dropped or lost: " + why);
    });
  }

  /// Of whoever has the most, among them the one that has just come.
  void drop_one() {
    std::map<ip::address, std::size_t> counts;
    for (const Connection& connection : connections_) ++counts[connection.peer];
    ip::address greedy = connections_.back().peer;
    for (const auto& [peer, count] : counts) {
      if (count > counts[greedy]) greedy = peer;
    }
    drop(std::ranges::find(connections_, greedy, &Connection::peer));
    ears_.for_each_of(greedy, [](SocketEar& ear) {
      ear.remark_once(fmt::format("there were more than {} connections; its oldest was dropped",
                                  most_connections));
    });
  }

  void drop(Connections::iterator connection) {
    connection->stream->close();
    connections_.erase(connection);
  }

  void drop_unexpected() {
    for (auto at = connections_.begin(); at != connections_.end();) {
      const auto connection = at++;
      if (!ears_.expects(connection->peer)) drop(connection);
    }
  }

  /// A device that stays connected is there if one of its peers is.
  void tell_states() {
    const KernelInstant now = lines::kernel_now();
    bool is_one_unsettled = false;
    ears_.for_each([&](SocketEar& ear) {
      if (!ear.settings().stays_connected) return;
      const bool is_there = std::ranges::any_of(
          connections_, [&](const Connection& connection) { return ear.expects(connection.peer); });
      if (!is_there) {
        ear.lose(now);
      } else if (!ear.settle(now, limits_.staying)) {
        is_one_unsettled = true;
      }
    });
    if (is_one_unsettled) settling_.after(limits_.staying / 4, [this] { tell_states(); });
  }

  Framing framing_;
  SocketLimits limits_;
  asio::io_context context_{1};
  ip::tcp::acceptor acceptor_{context_};
  OneTimer timer_{context_};
  OneTimer settling_{context_};
  bool is_stamped_ = false;
  EarList ears_;
  Connections connections_;
  std::thread thread_;
};

}  // namespace

std::shared_ptr<SocketServer> SocketServer::open(const SocketSettings& settings,
                                                 const SocketLimits& limits) {
  if (settings.transport == Transport::udp) return std::make_shared<UdpServer>(settings, limits);
  return std::make_shared<TcpServer>(settings, limits);
}

}  // namespace plexor::rig
