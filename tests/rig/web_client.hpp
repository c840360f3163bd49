#pragma once

#include <arpa/inet.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <cstdint>
#include <stdexcept>
#include <string>
#include <string_view>
#include <utility>

namespace plexor::rig {

/// Whoever calls a web hook over the loopback.
class WebClient {
 public:
  /// `from`: an IPv4 loopback address, as 127.0.0.2.
  explicit WebClient(std::uint16_t port, const std::string& from = "127.0.0.1")
      : WebClient(AF_INET) {
    sockaddr_in own = address(from, 0);
    if (bind(socket_, reinterpret_cast<sockaddr*>(&own), sizeof own) != 0) fail("bind");
    connect_to(port);
  }
  static WebClient over_ipv6(std::uint16_t port) {
    WebClient client(AF_INET6);
    sockaddr_in6 there{};
    there.sin6_family = AF_INET6;
    there.sin6_port = htons(port);
    there.sin6_addr = in6addr_loopback;
    if (connect(client.socket_, reinterpret_cast<sockaddr*>(&there), sizeof there) != 0) {
      fail("connect");
    }
    return client;
  }
  static WebClient unconnected() { return WebClient(AF_INET); }
  ~WebClient() {
    if (socket_ >= 0) close(socket_);
  }
  WebClient(WebClient&& other) noexcept
      : socket_(std::exchange(other.socket_, -1)), heard_(std::move(other.heard_)) {}
  WebClient& operator=(WebClient&&) = delete;

  void connect_to(std::uint16_t port) const {
    sockaddr_in there = address("127.0.0.1", port);
    if (connect(socket_, reinterpret_cast<sockaddr*>(&there), sizeof there) != 0) fail("connect");
  }

  /// False if the other side takes no more.
  bool say(std::string_view bytes) const {
    while (!bytes.empty()) {
      const ssize_t sent = send(socket_, bytes.data(), bytes.size(), MSG_NOSIGNAL);
      if (sent <= 0) return false;
      bytes.remove_prefix(static_cast<std::size_t>(sent));
    }
    return true;
  }
  /// Little is kept for it that it does not read.
  void keep_little() const {
    const int bytes = 2048;
    setsockopt(socket_, SOL_SOCKET, SO_RCVBUF, &bytes, sizeof bytes);
    setsockopt(socket_, SOL_SOCKET, SO_SNDBUF, &bytes, sizeof bytes);
  }
  void end_saying() const { shutdown(socket_, SHUT_WR); }

  /// The head of the next answer; none of them has a body. Empty if the connection is closed first.
  std::string answer() {
    for (;;) {
      const auto end = heard_.find("\r\n\r\n");
      if (end != std::string::npos) {
        std::string head = heard_.substr(0, end + 2);
        heard_.erase(0, end + 4);
        return head;
      }
      if (!hear()) return {};
    }
  }
  /// Of the next answer; 0 if there is none.
  int status() {
    const std::string head = answer();
    return head.size() < 12 ? 0 : std::stoi(head.substr(9, 3));
  }
  int ask(std::string_view bytes) {
    say(bytes);
    return status();
  }
  /// An answer has begun to come, or the connection was closed.
  [[nodiscard]] bool has_news() const {
    pollfd state{socket_, POLLIN, 0};
    return poll(&state, 1, 0) == 1;
  }
  /// Reads on until the other side has closed; false if it has more answers, or is silent.
  bool is_closed() {
    while (hear()) {
    }
    return heard_.empty() && !is_silent_;
  }

 private:
  explicit WebClient(int family) : socket_(socket(family, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
    const int at_once = 1;
    setsockopt(socket_, IPPROTO_TCP, TCP_NODELAY, &at_once, sizeof at_once);
  }
  static sockaddr_in address(const std::string& host, std::uint16_t port) {
    sockaddr_in address{};
    address.sin_family = AF_INET;
    address.sin_port = htons(port);
    inet_pton(AF_INET, host.c_str(), &address.sin_addr);
    return address;
  }
  [[noreturn]] static void fail(const std::string& what) {
    throw std::runtime_error("no connection: " + what);
  }
  /// False at the end, or after 10 s of silence.
  bool hear() {
    pollfd state{socket_, POLLIN, 0};
    is_silent_ = poll(&state, 1, 10'000) != 1;
    if (is_silent_) return false;
    char bytes[4096];
    const ssize_t count = recv(socket_, bytes, sizeof bytes, 0);
    if (count <= 0) return false;
    heard_.append(bytes, static_cast<std::size_t>(count));
    return true;
  }

  int socket_;
  std::string heard_;
  bool is_silent_ = false;
};

}  // namespace plexor::rig
