#include "rig/network/tcp_stream.hpp"

#include <array>
#include <boost/asio/write.hpp>
#include <utility>

#include "rig/network/receive.hpp"

namespace plexor::rig {

namespace asio = boost::asio;
using boost::system::error_code;

TcpStream::TcpStream(asio::ip::tcp::socket socket, Framing framing, const SocketLimits& limits,
                     Hearer hearer)
    : socket_(std::move(socket)),
      half_message_(limits.half_message),
      hearer_(std::move(hearer)),
      framer_(framing,
              [this](std::string_view message) {
                has_finished_ = true;
                if (!is_over_) hearer_.take(message, arrived_);
              }),
      half_timer_(static_cast<asio::io_context&>(socket_.get_executor().context())) {}

void TcpStream::begin() { await_bytes(); }

void TcpStream::say(const std::string& text) {
  const auto bytes = std::make_shared<std::string>(text);
  asio::async_write(socket_, asio::buffer(*bytes),
                    [self = shared_from_this(), bytes](const error_code& error, std::size_t) {
                      if (error) self->fail(error.message());
                    });
}

void TcpStream::close() {
  is_over_ = true;
  half_timer_.cancel();
  error_code ignored;
  socket_.close(ignored);
}

void TcpStream::end(const std::string& why) {
  if (is_over_) return;
  close();
  hearer_.end(why, lines::kernel_now());
}

/// What the peer sent after its last sign may be lost.
void TcpStream::fail(const std::string& why) {
  if (is_over_) return;
  const lines::KernelInstant heard_until = last_sign_of(socket_.native_handle());
  close();
  hearer_.end(why, heard_until);
}

void TcpStream::await_bytes() {
  socket_.async_wait(asio::ip::tcp::socket::wait_read,
                     [self = shared_from_this()](const error_code& error) {
                       if (!error && !self->is_over_) self->read_some();
                     });
}

/// A part of a flood at a time, so that others have their turn.
void TcpStream::read_some() {
  constexpr int most_reads = 4;
  std::array<char, 16'384> room;  // NOLINT(cppcoreguidelines-pro-type-member-init): written first
  for (int i = 0; i < most_reads; ++i) {
    const Received received = receive(socket_.native_handle(), room);
    if (received.must_wait()) break;
    if (received.error) return fail(received.error.message());
    if (received.bytes.empty()) {
      return end(framer_.is_within() ? "it ended within a message, which is not counted" : "");
    }
    if (!take_bytes(received.bytes, received.stamp.at)) return;
  }
  await_bytes();
}

bool TcpStream::take_bytes(std::string_view bytes, lines::KernelInstant at) {
  arrived_ = at;
  const std::size_t dropped = framer_.dropped();
  const bool is_readable = framer_.feed(bytes);
  if (is_over_) return false;
  if (framer_.dropped() != dropped) hearer_.overlong();
  if (!is_readable) end("what came is no syslog (RFC 6587), so that no next message can be found");
  watch_half();
  return !is_over_;
}

void TcpStream::watch_half() {
  if (is_over_) return;
  if (!framer_.is_within()) {
    has_half_ = false;
    return half_timer_.cancel();
  }
  const bool has_advanced = std::exchange(has_finished_, false);
  if (has_half_ && !has_advanced) return;
  has_half_ = true;
  half_timer_.after(half_message_, [self = shared_from_this()] {
    self->end("the rest of a message did not come");
  });
}

void prepare_stream(asio::ip::tcp::socket& socket) {
  ask_for_stamps(socket.native_handle());
  keep_alive(socket.native_handle());
  error_code ignored;
  socket.non_blocking(true, ignored);
  socket.set_option(asio::ip::tcp::no_delay(true), ignored);
}

}  // namespace plexor::rig
