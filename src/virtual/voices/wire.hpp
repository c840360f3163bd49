#pragma once

#include <cstdint>
#include <memory>
#include <string>
#include <string_view>

namespace plexor::virtual_rig {

/// A simulated device's end of a socket. Never blocks: what can't go at once is lost, as
/// it is with a device that has no memory for it.
class Wire {
 public:
  virtual ~Wire() = default;
  /// The cable. Opening throws base::RigFault if a local address can't be had.
  virtual void open() = 0;
  virtual void close() = 0;
  /// How many bytes went.
  virtual std::size_t write(std::string_view bytes) = 0;
  /// What has come so far.
  [[nodiscard]] virtual std::string read() = 0;
};

/// Keeps a TCP connection to an address; looks again every 100 ms at most.
[[nodiscard]] std::unique_ptr<Wire> make_tcp_caller(const std::string& host, std::uint16_t port);
/// Waits at a local address for one TCP connection at a time.
[[nodiscard]] std::unique_ptr<Wire> make_tcp_answerer(const std::string& host, std::uint16_t port);
/// Sends each piece as a datagram to an address.
[[nodiscard]] std::unique_ptr<Wire> make_udp_caller(const std::string& host, std::uint16_t port);
/// Waits at a local address, and sends to whoever sent something there last.
[[nodiscard]] std::unique_ptr<Wire> make_udp_answerer(const std::string& host, std::uint16_t port);

}  // namespace plexor::virtual_rig
