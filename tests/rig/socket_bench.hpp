#pragma once

#include <fmt/format.h>
#include <poll.h>

#include <atomic>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ip/udp.hpp>
#include <boost/asio/read_until.hpp>
#include <boost/asio/write.hpp>
#include <memory>
#include <stdexcept>
#include <string>

#include "rig/listener.hpp"
#include "rig/network/socket_listener.hpp"
#include "rig/told.hpp"

// Devices that a test plays, on sockets of this computer. 127.0.0.2 is another peer. Names are
// looked up as socket_names.cpp says.

namespace plexor::rig {

namespace asio = boost::asio;
namespace ip = boost::asio::ip;
using namespace std::chrono_literals;
using boost::system::error_code;
using lines::KernelInstant;

/// While it is so, the look-up of an unknown name does not come to an end.
extern std::atomic<bool> names_are_slow;

inline constexpr const char* here = "127.0.0.1";
inline constexpr const char* elsewhere = "127.0.0.2";

/// A port that nothing has, for TCP and UDP.
inline std::uint16_t free_port() {
  asio::io_context context;
  const ip::tcp::acceptor acceptor(context, {ip::make_address(here), 0});
  return acceptor.local_endpoint().port();
}

/// Until it can be read, 10 s at most.
template <typename Socket>
void await(Socket& socket) {
  pollfd what{socket.native_handle(), POLLIN, 0};
  if (poll(&what, 1, 10'000) != 1) throw std::runtime_error("nothing came");
}

/// The device's end of a connection that it makes.
class Caller {
 public:
  explicit Caller(std::uint16_t port, const std::string& from = here,
                  const std::string& to = here) {
    socket_.open(ip::make_address(from).is_v6() ? ip::tcp::v6() : ip::tcp::v4());
    socket_.bind({ip::make_address(from), 0});
    socket_.connect({ip::make_address(to), port});
  }
  void says(const std::string& text) { asio::write(socket_, asio::buffer(text)); }
  void hangs_up() { socket_.close(); }
  /// Without a word of farewell.
  void resets() {
    socket_.set_option(asio::socket_base::linger(true, 0));
    socket_.close();
  }
  /// The other side closes it.
  bool is_hung_up_on() {
    return comes_true([this] {
      char byte = 0;
      error_code error;
      socket_.non_blocking(true);
      socket_.read_some(asio::buffer(&byte, 1), error);
      return error && error != asio::error::would_block;
    });
  }

 private:
  asio::io_context context_;
  ip::tcp::socket socket_{context_};
};

/// A device that waits for a connection.
class Host {
 public:
  explicit Host(std::uint16_t port, const std::string& address = here)
      : acceptor_(context_, {ip::make_address(address), port}) {}
  void lets_in() {
    await(acceptor_);
    socket_ = acceptor_.accept();
  }
  std::string hears_line() {
    await(socket_);
    std::string text;
    asio::read_until(socket_, asio::dynamic_buffer(text), '\n');
    return text;
  }
  void says(const std::string& text) { asio::write(socket_, asio::buffer(text)); }
  void hangs_up() { socket_ = ip::tcp::socket(context_); }

 private:
  asio::io_context context_;
  ip::tcp::acceptor acceptor_;
  ip::tcp::socket socket_{context_};
};

/// A device with datagrams.
class Sender {
 public:
  explicit Sender(const std::string& address = here, std::uint16_t port = 0)
      : socket_(context_, {ip::make_address(address), port}) {}
  void sends(std::uint16_t port, const std::string& text, const std::string& to = here) {
    socket_.send_to(asio::buffer(text), {ip::make_address(to), port});
  }
  std::string hears() {
    await(socket_);
    std::string text(1000, '\0');
    text.resize(socket_.receive_from(asio::buffer(text), last_));
    return text;
  }
  void answers(const std::string& text) { socket_.send_to(asio::buffer(text), last_); }

 private:
  asio::io_context context_;
  ip::udp::socket socket_;
  ip::udp::endpoint last_;
};

inline constexpr const char* pattern = R"(^(?P<event>\w+)( #(?P<id>\d+))?( of (?P<device>\w+))?$)";

inline SocketSettings tcp_server(std::uint16_t port) {
  return {.transport = Transport::tcp,
          .serves = true,
          .host = here,
          .port = port,
          .peers = {here, "::1"},
          .format = {.pattern = pattern}};
}
inline SocketSettings udp_server(std::uint16_t port) {
  SocketSettings settings = tcp_server(port);
  settings.transport = Transport::udp;
  return settings;
}
inline SocketSettings tcp_client(std::uint16_t port) {
  return {.transport = Transport::tcp,
          .host = here,
          .port = port,
          .hello = "report\n",
          .format = {.pattern = pattern}};
}
inline SocketSettings udp_client(std::uint16_t port) {
  SocketSettings settings = tcp_client(port);
  settings.transport = Transport::udp;
  return settings;
}

inline constexpr SocketLimits quick{.connect = 200ms,
                                    .first_wait = 10ms,
                                    .longest_wait = 50ms,
                                    .hello_every = 50ms,
                                    .half_message = 100ms};

inline std::unique_ptr<Listener> listen(const SocketSettings& settings, Told& told,
                                        const std::string& name = "panel") {
  auto server = settings.serves ? SocketServer::open(settings, quick) : nullptr;
  return std::make_unique<SocketListener>(name, settings, told.hearers(), std::move(server), quick);
}

class SocketTest : public ::testing::Test {
 protected:
  void begin(const SocketSettings& settings) { listener = listen(settings, told); }
  /// It is gone, promptly.
  void expect_prompt_end() {
    const KernelInstant begun = lines::kernel_now();
    listener.reset();
    EXPECT_LT(lines::kernel_now() - begun, 500ms);
  }

  std::uint16_t port = free_port();
  Told told;
  std::unique_ptr<Listener> listener;
};

inline Device device_with(const std::string& name, const SocketSettings& settings) {
  Device device;
  device.name = name;
  device.listeners = {{.name = "socket", .way = settings}};
  return device;
}

}  // namespace plexor::rig
