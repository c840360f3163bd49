#include "rig/network/socket_client.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <boost/asio/ip/udp.hpp>
#include <boost/asio/post.hpp>
#include <optional>
#include <thread>
#include <utility>

#include "rig/network/framer.hpp"
#include "rig/network/name_lookup.hpp"
#include "rig/network/receive.hpp"
#include "rig/network/socket_server.hpp"
#include "rig/network/tcp_stream.hpp"
#include "rig/one_timer.hpp"

namespace plexor::rig {

namespace {

namespace asio = boost::asio;
namespace ip = boost::asio::ip;
using boost::system::error_code;
using lines::KernelInstant;
using WorkGuard = asio::executor_work_guard<asio::io_context::executor_type>;

/// The addresses of a device, tried one after the other; then it waits, each time longer.
/// Everything happens on the context's thread.
class Search {
 public:
  Search(asio::io_context& context, SocketEar& ear, const SocketLimits& limits)
      : ear_(ear),
        lookup_(context),
        timer_(context),
        wait_(limits.first_wait, limits.longest_wait) {}

  /// What is done with an address: it ends in `miss` or `rest`.
  void begin(std::function<void(const ip::address&)> go) {
    go_ = std::move(go);
    look_up();
  }
  /// The address was no good.
  void miss(const std::string& trouble) {
    if (next_ < addresses_.size()) return try_next();
    ear_.tell_state(false, lines::kernel_now());
    say(trouble);
    look_later();
  }
  /// It was good until now.
  void look_later() {
    addresses_.clear();
    next_ = 0;
    timer_.after(wait_.take(), [this] { look_up(); });
  }
  /// The device is there: it is missed anew the next time.
  void rest() { wait_.begin_anew(); }

 private:
  void look_up() {
    const std::string& host = ear_.settings().host;
    lookup_.look_up(host, [this](const error_code& error, const NameLookup::Addresses& found) {
      addresses_ = found;
      next_ = 0;
      if (error)
        return miss(fmt::format("\"{}\" is not found: {}", ear_.settings().host, error.message()));
      try_next();
    });
  }

  void try_next() { go_(addresses_[next_++]); }

  void say(const std::string& trouble) {
    ear_.remark_once(
        fmt::format("{} can't be heard: {}; looking for it", place_of(ear_.settings()), trouble));
  }

  SocketEar& ear_;
  NameLookup lookup_;
  OneTimer timer_;
  GrowingWait wait_;
  std::function<void(const ip::address&)> go_;
  NameLookup::Addresses addresses_;
  std::size_t next_ = 0;
};

class TcpClient final : public SocketClient {
 public:
  TcpClient(SocketEar& ear, const SocketLimits& limits) : ear_(ear), limits_(limits) {
    asio::post(context_, [this] {
      ear_.tell_state(false, lines::kernel_now());
      search_.begin([this](const ip::address& address) { connect(address); });
    });
    thread_ = std::thread([this] { context_.run(); });
  }
  ~TcpClient() override {
    context_.stop();
    thread_.join();
  }
  TcpClient(const TcpClient&) = delete;
  TcpClient& operator=(const TcpClient&) = delete;

 private:
  void connect(const ip::address& address) {
    const ip::tcp::endpoint endpoint(address, ear_.settings().port);
    error_code error;
    socket_ = ip::tcp::socket(context_);
    socket_.open(endpoint.protocol(), error);
    if (error) return search_.miss(error.message());
    prepare_stream(socket_);
    is_too_late_ = false;
    timer_.after(limits_.connect, [this] {
      is_too_late_ = true;
      error_code ignored;
      socket_.close(ignored);
    });
    socket_.async_connect(endpoint, [this](const error_code& failure) {
      timer_.cancel();
      if (is_too_late_) return search_.miss("no answer");
      if (failure) return search_.miss(failure.message());
      if (has_met_itself()) return search_.miss("nobody is there");
      adopt();
    });
  }

  /// Where nobody listens on this computer, the kernel may have given us that very port.
  [[nodiscard]] bool has_met_itself() {
    error_code error;
    if (socket_.local_endpoint(error) != socket_.remote_endpoint(error) || error) return false;
    socket_.close(error);
    return true;
  }

  void adopt() {
    const TcpStream::Hearer hearer{
        .take =
            [this](std::string_view message, KernelInstant at) {
              search_.rest();
              ear_.take(message, at);
            },
        .overlong = [this] { ear_.take_overlong(); },
        .end = [this](const std::string& why,
                      KernelInstant heard_until) { lose(why, heard_until); }};
    stream_ =
        std::make_shared<TcpStream>(std::move(socket_), ear_.settings().framing, limits_, hearer);
    if (ear_.tell_state(true, lines::kernel_now()) && was_lost_)
      ear_.remark_once("is connected again");
    // One that only lets us in and hangs up is not asked ten times a second.
    timer_.after(limits_.longest_wait, [this] { search_.rest(); });
    if (!ear_.settings().hello.empty()) stream_->say(ear_.settings().hello);
    stream_->begin();
  }

  void lose(const std::string& why, KernelInstant heard_until) {
    timer_.cancel();
    stream_.reset();
    was_lost_ = true;
    ear_.tell_state(false, heard_until);
    ear_.remark_once(fmt::format("its connection was lost ({}); looking for it",
                                 why.empty() ? "the device has closed it" : why));
    search_.look_later();
  }

  SocketEar& ear_;
  SocketLimits limits_;
  asio::io_context context_{1};
  WorkGuard work_{context_.get_executor()};  ///< a look-up is none of the context's own
  Search search_{context_, ear_, limits_};
  OneTimer timer_{context_};
  ip::tcp::socket socket_{context_};  ///< while it is being connected
  std::shared_ptr<TcpStream> stream_;
  bool is_too_late_ = false;
  bool was_lost_ = false;
  std::thread thread_;
};

class UdpClient final : public SocketClient {
 public:
  UdpClient(SocketEar& ear, const SocketLimits& limits) : ear_(ear), limits_(limits) {
    asio::post(context_,
               [this] { search_.begin([this](const ip::address& address) { send_to(address); }); });
    thread_ = std::thread([this] { context_.run(); });
  }
  ~UdpClient() override {
    context_.stop();
    thread_.join();
  }
  UdpClient(const UdpClient&) = delete;
  UdpClient& operator=(const UdpClient&) = delete;

 private:
  void send_to(const ip::address& address) {
    const ip::udp::endpoint endpoint(address, ear_.settings().port);
    error_code error;
    socket_ = ip::udp::socket(context_);
    losses_ = {};
    socket_.open(endpoint.protocol(), error);
    if (!error) {
      ask_for_stamps(socket_.native_handle());
      ask_for_losses(socket_.native_handle());
      socket_.connect(endpoint, error);
    }
    if (!error) socket_.non_blocking(true, error);
    if (error) return lose(error);
    ++turn_;
    await_datagrams();
    say_hello();
  }

  void say_hello() {
    error_code error;
    socket_.send(asio::buffer(ear_.settings().hello), 0, error);
    if (error && error != asio::error::would_block) return lose(error);
    if (is_refused_) return timer_.after(limits_.refusal, [this] { take_for_there(); });
    ear_.tell_state(true, lines::kernel_now());
    timer_.after(limits_.hello_every, [this] { say_hello(); });
  }

  /// Nobody has refused the last hello: a device that only speaks when it is knocked on is there.
  void take_for_there() {
    is_refused_ = false;
    is_heard_ = true;
    if (ear_.tell_state(true, lines::kernel_now())) ear_.remark_once("does not refuse any more");
    timer_.after(limits_.hello_every, [this] { say_hello(); });
  }

  void await_datagrams() {
    socket_.async_wait(ip::udp::socket::wait_read, [this, turn = turn_](const error_code& error) {
      if (!error && turn == turn_) read_some();
    });
  }

  /// A part of a flood at a time, so that timers have their turn.
  void read_some() {
    constexpr int most_reads = 64;
    for (int i = 0; i < most_reads; ++i) {
      const Received received = receive(socket_.native_handle(), room_);
      if (received.must_wait()) break;
      if (received.error) return lose(received.error);
      take(received);
    }
    await_datagrams();
  }

  void take(const Received& received) {
    search_.rest();
    is_heard_ = true;
    is_refused_ = false;
    if (const auto losses = losses_.count(received)) {
      return_after_losses_.after(limits_.without_losses, [this] { return_after_losses(); });
      ear_.take_losses(*losses);
    } else if (!return_after_losses_.is_set() && ear_.tell_state(true, received.stamp.at)) {
      ear_.remark_once("is heard again");
    }
    if (received.is_cut) return ear_.take_overlong_datagram(room_.size());
    const auto take_message = [&](std::string_view message) {
      ear_.take(message, received.stamp.at);
    };
    if (split_datagram(ear_.settings().framing, received.bytes, take_message) > 0)
      ear_.take_overlong();
  }

  void return_after_losses() {
    if (!is_refused_) ear_.tell_state(true, lines::kernel_now());
  }

  /// Nobody is there: the other computer said so, or there is no way to it.
  void lose(const error_code& error) {
    ++turn_;
    timer_.cancel();
    error_code ignored;
    socket_.close(ignored);
    is_refused_ = true;
    if (std::exchange(is_heard_, false)) ear_.tell_state(false, lines::kernel_now());
    search_.miss(error.message());
  }

  SocketEar& ear_;
  SocketLimits limits_;
  asio::io_context context_{1};
  WorkGuard work_{context_.get_executor()};  ///< a look-up is none of the context's own
  Search search_{context_, ear_, limits_};
  OneTimer timer_{context_};
  OneTimer return_after_losses_{context_};
  ip::udp::socket socket_{context_};
  Losses losses_;
  std::uint64_t turn_ = 0;   ///< of the socket: what belongs to an older one is not done
  bool is_heard_ = false;    ///< at this address
  bool is_refused_ = false;  ///< and has not answered since
  std::array<char, SocketServer::longest_datagram> room_{};
  std::thread thread_;
};

}  // namespace

std::unique_ptr<SocketClient> SocketClient::go(SocketEar& ear, const SocketLimits& limits) {
  if (ear.settings().transport == Transport::udp) return std::make_unique<UdpClient>(ear, limits);
  return std::make_unique<TcpClient>(ear, limits);
}

}  // namespace plexor::rig
