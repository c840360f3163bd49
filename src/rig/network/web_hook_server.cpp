#include "rig/network/web_hook_server.hpp"

#include <fmt/format.h>
#include <poll.h>
#include <sys/socket.h>

#include <algorithm>
#include <array>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/write.hpp>
#include <cerrno>
#include <list>
#include <thread>
#include <utility>

#include "base/error.hpp"
#include "rig/network/receive_stamp.hpp"
#include "rig/network/web_hook_routes.hpp"

namespace plexor::rig {

namespace {

namespace asio = boost::asio;
using asio::ip::tcp;
using boost::system::error_code;
using lines::KernelInstant;
using namespace std::chrono_literals;

constexpr std::uint32_t no_content = 204;
constexpr std::uint32_t too_slow = 408;
/// How long, and how many bytes, whoever was refused may go on sending: a connection that is
/// closed with bytes unread takes the answer back.
constexpr base::Duration longest_leaving = 1s;
constexpr std::size_t most_bytes_in_leaving = 1 << 20;
/// Of answers: the kernel would keep megabytes for whoever reads none.
constexpr int most_bytes_unread = 16'384;

std::string_view reason_of(std::uint32_t status) {
  switch (status) {
    case 204: return "No Content";
    case 401: return "Wrong or no token";
    case 403: return "Address not named in the rig file";
    case 404: return "No device has this path";
    case 405: return "Not POST";
    case 408: return "Too slow";
    case 411: return "No length";
    case 413: return "Body too large";
    case 415: return "Neither JSON nor text nor form";
    case 417: return "Unknown expectation";
    case 422: return "No report understood";
    case 429: return "Too many reports";
    case 431: return "Header too large";
    default: return "Bad request";
  }
}

/// None has a body, so that what a client asked by does not matter.
std::string answer_of(std::uint32_t status, bool stays) {
  std::string text = fmt::format("HTTP/1.1 {} {}\r\n", status, reason_of(status));
  if (status == 401) text += "WWW-Authenticate: Bearer\r\n";
  if (status == 405) text += "Allow: POST\r\n";
  if (status != no_content) text += "Content-Length: 0\r\n";
  if (!stays) text += "Connection: close\r\n";
  return text + "\r\n";
}

std::string remedy_for_hook(const error_code& error) {
  if (error == asio::error::address_in_use) {
    return "end what waits there (ss -ltnp shows it), or give another \"port\"";
  }
  if (error == asio::error::no_permission || error == asio::error::access_denied) {
    return "give a \"port\" of 1024 or more";
  }
  return "\"host\" must be an address of this computer (ip address lists them)";
}

tcp::acceptor waiting_at(asio::io_context& context, const std::string& host, std::uint16_t port) {
  try {
    constexpr bool can_be_had_again_at_once = true;
    return tcp::acceptor(context, tcp::endpoint(asio::ip::make_address(host), port),
                         can_be_had_again_at_once);
  } catch (const boost::system::system_error& failure) {
    throw base::RigFault(fmt::format("web hook at {} port {}: {}; {}", host, port,
                                     failure.code().message(), remedy_for_hook(failure.code())));
  }
}

/// Errors that go by themselves when something else is let go.
bool is_shortage(const error_code& error) {
  const int number = error.value();
  return number == EMFILE || number == ENFILE || number == ENOBUFS || number == ENOMEM;
}

}  // namespace

/// Where connections come in. Everything but routes happens on its thread.
class WebHookServer::Door {
 public:
  Door(const std::string& host, std::uint16_t port, const WebHookLimits& limits);
  ~Door();
  Door(const Door&) = delete;
  Door& operator=(const Door&) = delete;

  [[nodiscard]] WebHookRoutes& routes() { return routes_; }
  [[nodiscard]] std::uint16_t port() const { return port_; }
  [[nodiscard]] bool has_kernel_stamps() const { return has_kernel_stamps_; }

  // For its guests.

  [[nodiscard]] const WebHookLimits& limits() const { return limits_; }
  /// What a guest has just read; of use until another one reads.
  [[nodiscard]] std::array<char, 65'536>& buffer() { return buffer_; }
  void forget(const Guest& guest);

 private:
  void await_guests();
  void let_in();
  /// False if there is none to let in, or it can't be done now.
  [[nodiscard]] bool let_one_in();
  void welcome(tcp::socket socket, const asio::ip::address& peer);
  /// Sends the oldest away that has shown no token. False if all have.
  [[nodiscard]] bool make_room();
  [[nodiscard]] bool is_someone_waiting();
  void give_way(const error_code& shortage);
  void wait_for_room();

  WebHookLimits limits_;
  WebHookRoutes routes_;
  std::array<char, 65'536> buffer_{};
  asio::io_context context_{1};
  tcp::acceptor acceptor_;
  std::uint16_t port_;
  bool has_kernel_stamps_;
  asio::steady_timer timer_{context_};
  bool is_short_ = false;                     ///< no connection can be had for now
  std::list<std::shared_ptr<Guest>> guests_;  ///< oldest first
  std::thread thread_;
};

/// One connection.
class WebHookServer::Guest : public std::enable_shared_from_this<Guest> {
 public:
  Guest(Door& door, tcp::socket socket, asio::ip::address peer)
      : door_(door),
        socket_(std::move(socket)),
        peer_(std::move(peer)),
        timer_(socket_.get_executor()),
        reader_(door.limits()) {}

  void begin() {
    ask_for_stamps(socket_.native_handle());
    error_code ignored;  // it would be a matter of memory only
    socket_.set_option(tcp::socket::send_buffer_size(most_bytes_unread), ignored);
    await_request();
  }
  void close() {
    error_code ignored;
    socket_.close(ignored);
    ++socket_turn_;
    ++timer_turn_;
    timer_.cancel();
    door_.forget(*this);
  }
  /// Its last request had a right token.
  [[nodiscard]] bool is_proven() const { return is_proven_; }

 private:
  enum class Stage : std::uint8_t { idle, in_request, answering, leaving };

  // Turns and time.

  /// What happens next with the socket: one thing at a time, and what was given up never.
  template <typename Next>
  auto in_turn(Next next) {
    return [self = shared_from_this(), next, turn = ++socket_turn_](const error_code& error) {
      if (turn == self->socket_turn_) error ? self->close() : next(*self);
    };
  }

  void give_time(base::Duration length) {
    // Cancelling does not reach what is due already: its turn is over all the same.
    timer_.expires_after(length);
    timer_.async_wait([self = shared_from_this(), turn = ++timer_turn_](const error_code& error) {
      if (!error && turn == self->timer_turn_) self->run_out();
    });
  }

  void run_out() {
    if (stage_ != Stage::in_request) return close();
    socket_.cancel();
    answer(too_slow, false);
  }

  // Reading.

  void await_request() {
    stage_ = Stage::idle;
    give_time(door_.limits().idle);
    go_on();
  }

  void await_bytes() {
    socket_.async_wait(tcp::socket::wait_read, in_turn([](Guest& self) { self.read(); }));
  }

  void read() {
    auto& buffer = door_.buffer();
    std::array<char, stamp_space> control{};
    iovec part{buffer.data(), buffer.size()};
    msghdr message{};
    message.msg_iov = &part;
    message.msg_iovlen = 1;
    message.msg_control = control.data();
    message.msg_controllen = control.size();
    const ssize_t bytes = recvmsg(socket_.native_handle(), &message, MSG_DONTWAIT);
    const int error = errno;
    const KernelInstant arrived = stamp_of(message).at;
    if (bytes < 0 && (error == EAGAIN || error == EINTR)) return await_bytes();
    if (bytes <= 0) return close();
    take({buffer.data(), static_cast<std::size_t>(bytes)}, arrived);
  }

  void take(std::string_view bytes, KernelInstant arrived) {
    if (stage_ == Stage::leaving) {
      bytes_in_leaving_ += bytes.size();
      return bytes_in_leaving_ > most_bytes_in_leaving ? close() : await_bytes();
    }
    arrived_ = arrived;
    reader_.feed(bytes);
    go_on();
  }

  // Requests.

  void go_on() {
    using Progress = WebRequestReader::Progress;
    if (stage_ == Stage::idle && !reader_.is_idle()) {
      stage_ = Stage::in_request;
      give_time(door_.limits().request);
    }
    switch (reader_.advance()) {
      case Progress::needs_more: return await_bytes();
      case Progress::refused: return answer(reader_.refusal(), false);
      case Progress::head: return take_head();
      case Progress::whole: return take_whole();
    }
  }

  /// What is not wanted is refused before its body is read. Where the next request begins is
  /// known only if there is no body.
  void take_head() {
    const WebRequest& request = reader_.request();
    const std::uint32_t refusal = door_.routes().refusal_of(request, peer_);
    is_proven_ = refusal == 0;
    if (refusal != 0) {
      const bool stays = request.stays && !request.has_body;
      if (stays) skip_whole();
      return answer(refusal, stays);
    }
    if (request.awaits_leave && request.has_body) return give_leave();
    go_on();
  }

  void skip_whole() {
    if (reader_.advance() == WebRequestReader::Progress::whole) reader_.forget();
  }

  void take_whole() {
    const std::uint32_t status = door_.routes().take(reader_.request(), peer_, arrived_);
    const bool stays = reader_.request().stays;
    reader_.forget();
    answer(status, stays);
  }

  // Answers.

  void give_leave() {
    write("HTTP/1.1 100 Continue\r\n\r\n", [](Guest& self) { self.go_on(); });
  }

  void answer(std::uint32_t status, bool stays) {
    stage_ = Stage::answering;
    give_time(door_.limits().request);
    write(answer_of(status, stays),
          [stays](Guest& self) { stays ? self.await_request() : self.leave(); });
  }

  template <typename Next>
  void write(std::string text, Next next) {
    text_ = std::move(text);
    asio::async_write(
        socket_, asio::buffer(text_),
        [then = in_turn(next)](const error_code& error, std::size_t) { then(error); });
  }

  void leave() {
    stage_ = Stage::leaving;
    is_proven_ = false;
    give_time(longest_leaving);
    error_code ignored;
    socket_.shutdown(tcp::socket::shutdown_send, ignored);
    await_bytes();
  }

  Door& door_;
  tcp::socket socket_;
  asio::ip::address peer_;
  asio::steady_timer timer_;
  std::uint64_t socket_turn_ = 0;
  std::uint64_t timer_turn_ = 0;
  WebRequestReader reader_;
  Stage stage_ = Stage::idle;
  KernelInstant arrived_;  ///< the last bytes
  bool is_proven_ = false;
  std::size_t bytes_in_leaving_ = 0;
  std::string text_;  ///< being written
};

WebHookServer::Door::Door(const std::string& host, std::uint16_t port, const WebHookLimits& limits)
    : limits_(limits),
      acceptor_(waiting_at(context_, host, port)),
      port_(acceptor_.local_endpoint().port()),
      // Asked of the acceptor, so that what comes before its connection is let in is stamped, too.
      has_kernel_stamps_(ask_for_stamps(acceptor_.native_handle())) {
  acceptor_.non_blocking(true);
  await_guests();
  thread_ = std::thread([this] { context_.run(); });
}

WebHookServer::Door::~Door() {
  context_.stop();
  thread_.join();
}

void WebHookServer::Door::await_guests() {
  acceptor_.async_wait(tcp::acceptor::wait_read, [this](const error_code& error) {
    if (!error) let_in();
  });
}

/// A part of a crowd at a time, so that those who are in have their turn.
void WebHookServer::Door::let_in() {
  constexpr int most_at_once = 16;
  for (int i = 0; i < most_at_once; ++i) {
    if (!let_one_in()) break;
  }
  is_short_ ? wait_for_room() : await_guests();
}

bool WebHookServer::Door::let_one_in() {
  error_code error;
  tcp::endpoint peer;
  tcp::socket socket = acceptor_.accept(peer, error);
  if (is_shortage(error)) {
    if (is_someone_waiting()) give_way(error);
    return false;
  }
  if (std::exchange(is_short_, false)) routes_.tell_up();
  if (error) return error != asio::error::would_block;
  welcome(std::move(socket), peer.address());
  return true;
}

/// A descriptor is asked for before it is known that somebody waits: the lack of one may
/// be nobody's.
bool WebHookServer::Door::is_someone_waiting() {
  pollfd state{acceptor_.native_handle(), POLLIN, 0};
  return poll(&state, 1, 0) == 1;
}

/// Somebody can't be let in now, but perhaps next turn; in between the others speak.
void WebHookServer::Door::give_way(const error_code& shortage) {
  if (make_room()) return;
  is_short_ = true;
  routes_.tell_down(shortage.message());
}

void WebHookServer::Door::wait_for_room() {
  timer_.expires_after(100ms);
  timer_.async_wait([this](const error_code& error) {
    if (!error) let_in();
  });
}

void WebHookServer::Door::welcome(tcp::socket socket, const asio::ip::address& peer) {
  if (!routes_.may_come(peer)) return;
  if (guests_.size() >= limits_.connections && !make_room()) {
    return routes_.remark_crowd(guests_.size());
  }
  guests_.push_back(std::make_shared<Guest>(*this, std::move(socket), peer));
  guests_.back()->begin();
}

bool WebHookServer::Door::make_room() {
  const auto oldest = std::find_if(guests_.begin(), guests_.end(),
                                   [](const auto& guest) { return !guest->is_proven(); });
  if (oldest == guests_.end()) return false;
  const std::shared_ptr<Guest> guest = *oldest;
  guest->close();
  return true;
}

void WebHookServer::Door::forget(const Guest& guest) {
  guests_.remove_if([&](const auto& other) { return other.get() == &guest; });
}

WebHookServer::WebHookServer(const std::string& host, std::uint16_t port,
                             const WebHookLimits& limits)
    : door_(std::make_unique<Door>(host, port, limits)) {}

WebHookServer::~WebHookServer() = default;

void WebHookServer::add(const WebHookRoute& route) { door_->routes().add(route); }

void WebHookServer::remove(const Intake& intake) { door_->routes().remove(intake); }

std::uint16_t WebHookServer::port() const { return door_->port(); }

bool WebHookServer::has_kernel_stamps() const { return door_->has_kernel_stamps(); }

}  // namespace plexor::rig
