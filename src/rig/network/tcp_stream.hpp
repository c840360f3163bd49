#pragma once

#include <boost/asio/ip/tcp.hpp>
#include <functional>
#include <memory>
#include <string>
#include <string_view>

#include "lines/lines.hpp"
#include "rig/network/framer.hpp"
#include "rig/network/socket_limits.hpp"
#include "rig/one_timer.hpp"

namespace plexor::rig {

/// Takes messages from one TCP connection, on the thread of its context.
class TcpStream : public std::enable_shared_from_this<TcpStream> {
 public:
  /// Whom it tells.
  struct Hearer {
    std::function<void(std::string_view message, lines::KernelInstant at)> take;
    std::function<void()> overlong;  ///< messages were dropped
    /// Once, and the last: it is over. Why, for people; empty if the other side has closed it.
    /// What the other side sent after `heard_until` may be lost.
    std::function<void(const std::string& why, lines::KernelInstant heard_until)> end;
  };

  /// `socket` is connected.
  TcpStream(boost::asio::ip::tcp::socket socket, Framing framing, const SocketLimits& limits,
            Hearer hearer);

  void begin();
  /// Sends a few bytes.
  void say(const std::string& text);
  /// Nothing is told any more.
  void close();

 private:
  void await_bytes();
  void read_some();
  /// False: the connection is over.
  bool take_bytes(std::string_view bytes, lines::KernelInstant at);
  void watch_half();
  void end(const std::string& why);
  void fail(const std::string& why);

  boost::asio::ip::tcp::socket socket_;
  base::Duration half_message_;
  Hearer hearer_;
  Framer framer_;
  OneTimer half_timer_;
  lines::KernelInstant arrived_;
  bool has_half_ = false;      ///< the timer runs
  bool has_finished_ = false;  ///< a message, since the timer was set
  bool is_over_ = false;
};

/// Makes a socket ready for a stream: stamps, keep-alive, no waiting.
void prepare_stream(boost::asio::ip::tcp::socket& socket);

}  // namespace plexor::rig
