#include "virtual/voices/wire.hpp"

#include <fmt/format.h>
#include <netdb.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <utility>

#include "base/error.hpp"
#include "lines/descriptor.hpp"
#include "lines/lines.hpp"

namespace plexor::virtual_rig {

namespace {

using namespace std::chrono_literals;

/// An address of either family, as the calls want it.
struct Address {
  sockaddr_storage storage{};
  socklen_t length = 0;

  [[nodiscard]] const sockaddr* get() const {
    return reinterpret_cast<const sockaddr*>(&storage);  // as the calls want it
  }
  [[nodiscard]] int family() const { return storage.ss_family; }
};

Address resolve(const std::string& host, std::uint16_t port) {
  addrinfo wanted{};
  wanted.ai_family = AF_UNSPEC;
  wanted.ai_socktype = SOCK_STREAM;
  addrinfo* found = nullptr;
  const int error = getaddrinfo(host.c_str(), std::to_string(port).c_str(), &wanted, &found);
  if (error != 0) throw base::RigFault(fmt::format("{}: {}", host, gai_strerror(error)));
  const std::unique_ptr<addrinfo, decltype(&freeaddrinfo)> owner(found, freeaddrinfo);
  Address address;
  std::memcpy(&address.storage, found->ai_addr, found->ai_addrlen);
  address.length = found->ai_addrlen;
  return address;
}

using Socket = lines::Descriptor;

/// That never waits.
Socket open_socket(int family, int type) {
  return Socket(::socket(family, type | SOCK_NONBLOCK | SOCK_CLOEXEC, 0));
}

Socket bound(const Address& address, int type) {
  Socket socket = open_socket(address.family(), type);
  const int yes = 1;
  setsockopt(socket.get(), SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
  const bool is_had = ::bind(socket.get(), address.get(), address.length) == 0 &&
                      (type != SOCK_STREAM || ::listen(socket.get(), 1) == 0);
  if (!is_had) throw base::RigFault(fmt::format("a device's socket: {}", base::last_reason()));
  return socket;
}

void send_at_once(const Socket& socket) {
  const int yes = 1;
  setsockopt(socket.get(), IPPROTO_TCP, TCP_NODELAY, &yes, sizeof yes);
}

/// What is common once there is a socket to speak by.
class SocketWire : public Wire {
 public:
  explicit SocketWire(Address address) : address_(address) {}

  void close() override {
    socket_.reset();
    is_open_ = false;
  }
  std::size_t write(std::string_view bytes) override {
    if (!find()) return 0;
    const ssize_t sent = ::send(socket_.get(), bytes.data(), bytes.size(), MSG_NOSIGNAL);
    if (sent < 0 && errno != EAGAIN) lose();
    return sent < 0 ? 0 : static_cast<std::size_t>(sent);
  }
  std::string read() override {
    std::array<char, 4096> buffer{};
    if (!find()) return {};
    const ssize_t bytes = ::recv(socket_.get(), buffer.data(), buffer.size(), 0);
    if (bytes == 0 || (bytes < 0 && errno != EAGAIN)) lose();
    return bytes > 0 ? std::string(buffer.data(), static_cast<std::size_t>(bytes)) : std::string();
  }

 protected:
  /// Whether there is a socket to speak by; looks for one.
  virtual bool find() = 0;
  virtual void lose() { socket_.reset(); }

  Address address_;
  Socket socket_;
  bool is_open_ = false;
};

class TcpCaller final : public SocketWire {
 public:
  using SocketWire::SocketWire;
  void open() override { is_open_ = true; }

 private:
  bool find() override {
    constexpr base::Duration between_calls = 100ms;
    if (socket_.is_open() || !is_open_) return socket_.is_open();
    const lines::KernelInstant now = lines::kernel_now();
    if (now < next_call_) return false;
    next_call_ = now + between_calls;
    socket_ = open_socket(address_.family(), SOCK_STREAM);
    send_at_once(socket_);
    const bool is_begun =
        ::connect(socket_.get(), address_.get(), address_.length) == 0 || errno == EINPROGRESS;
    if (!is_begun) socket_.reset();
    return is_begun;
  }

  lines::KernelInstant next_call_;
};

class TcpAnswerer final : public SocketWire {
 public:
  using SocketWire::SocketWire;
  void open() override {
    door_ = bound(address_, SOCK_STREAM);
    is_open_ = true;
  }
  void close() override {
    SocketWire::close();
    door_.reset();
  }

 private:
  bool find() override {
    if (!is_open_) return false;
    Socket caller(::accept4(door_.get(), nullptr, nullptr, SOCK_NONBLOCK | SOCK_CLOEXEC));
    if (caller.is_open()) {
      send_at_once(caller);
      socket_ = std::move(caller);
    }
    return socket_.is_open();
  }

  Socket door_;
};

class UdpCaller final : public SocketWire {
 public:
  using SocketWire::SocketWire;
  void open() override { is_open_ = true; }

 private:
  bool find() override {
    if (socket_.is_open() || !is_open_) return socket_.is_open();
    socket_ = open_socket(address_.family(), SOCK_DGRAM);
    if (::connect(socket_.get(), address_.get(), address_.length) != 0) socket_.reset();
    return socket_.is_open();
  }
};

class UdpAnswerer final : public SocketWire {
 public:
  using SocketWire::SocketWire;
  void open() override {
    socket_ = bound(address_, SOCK_DGRAM);
    is_open_ = true;
  }
  std::size_t write(std::string_view bytes) override {
    (void)read();
    if (asker_.length == 0) return 0;
    const ssize_t sent = ::sendto(socket_.get(), bytes.data(), bytes.size(), MSG_NOSIGNAL,
                                  asker_.get(), asker_.length);
    return sent < 0 ? 0 : static_cast<std::size_t>(sent);
  }
  std::string read() override {
    std::array<char, 4096> buffer{};
    Address asker;
    asker.length = sizeof asker.storage;
    const ssize_t bytes = ::recvfrom(socket_.get(), buffer.data(), buffer.size(), 0,
                                     reinterpret_cast<sockaddr*>(&asker.storage), &asker.length);
    if (bytes < 0) return {};
    asker_ = asker;
    return {buffer.data(), static_cast<std::size_t>(bytes)};
  }

 private:
  bool find() override { return socket_.is_open(); }

  Address asker_;
};

}  // namespace

std::unique_ptr<Wire> make_tcp_caller(const std::string& host, std::uint16_t port) {
  return std::make_unique<TcpCaller>(resolve(host, port));
}
std::unique_ptr<Wire> make_tcp_answerer(const std::string& host, std::uint16_t port) {
  return std::make_unique<TcpAnswerer>(resolve(host, port));
}
std::unique_ptr<Wire> make_udp_caller(const std::string& host, std::uint16_t port) {
  return std::make_unique<UdpCaller>(resolve(host, port));
}
std::unique_ptr<Wire> make_udp_answerer(const std::string& host, std::uint16_t port) {
  return std::make_unique<UdpAnswerer>(resolve(host, port));
}

}  // namespace plexor::virtual_rig
