#include "rig/serial_listener.hpp"

#include <fmt/format.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <atomic>
#include <boost/asio/io_context.hpp>
#include <boost/asio/posix/stream_descriptor.hpp>
#include <cerrno>
#include <condition_variable>
#include <mutex>
#include <thread>
#include <utility>

#include "rig/intake.hpp"
#include "rig/line_assembler.hpp"
#include "rig/looking_again.hpp"
#include "rig/one_timer.hpp"
#include "rig/serial_port.hpp"
#include "rig/stamp_width.hpp"

namespace plexor::rig {

namespace {

namespace asio = boost::asio;
using lines::KernelInstant;
using namespace std::chrono_literals;

/// A device that boots misses the first questions.
constexpr base::Duration between_questions = 500ms;

}  // namespace

/// Everything but version() and latency happens on its thread.
class SerialListener::Ear {
 public:
  Ear(std::string device, SerialSettings settings, std::optional<IdentitySettings> identity,
      Hearers hearers)
      : settings_(std::move(settings)),
        identity_(std::move(identity)),
        intake_(std::move(device), settings_.format, std::move(hearers), identity_) {
    SerialPort port(settings_);
    port.reset(settings_.reset);
    adopt(std::move(port));
    thread_ = std::thread([this] { context_.run(); });
  }
  ~Ear() {
    context_.stop();
    thread_.join();
    if (stream_.is_open()) stream_.release();
  }
  Ear(const Ear&) = delete;
  Ear& operator=(const Ear&) = delete;

  [[nodiscard]] std::optional<std::string> version(base::Duration patience) {
    if (!identity_) return std::nullopt;
    std::unique_lock lock(version_mutex_);
    answered_.wait_for(lock, patience, [this] { return version_.has_value(); });
    return version_;
  }
  [[nodiscard]] base::Duration latency() const { return latency_; }

 private:
  // The port.

  void adopt(SerialPort port) {
    latency_ = port.latency();
    if (port.latency() > 1ms) remark_latency(port);
    stream_.assign(port.descriptor());
    port_.emplace(std::move(port));
    assembler_ = LineAssembler([this](std::string_view line) { take_line(line); });
    known_ = !identity_;
    if (identity_) begin_to_ask();
    if (known_) tell(true, lines::kernel_now());
    await_bytes();
  }

  void await_bytes() {
    stream_.async_wait(asio::posix::stream_descriptor::wait_read,
                       [this](const boost::system::error_code& error) {
                         if (error != asio::error::operation_aborted) read_all();
                       });
  }

  /// A part of a flood at a time, so that timers have their turn.
  void read_all() {
    constexpr int most_reads = 16;
    for (int i = 0; i < most_reads; ++i) {
      const ssize_t bytes = ::read(port_->descriptor(), buffer_.data(), buffer_.size());
      const int error = errno;
      arrived_ = lines::kernel_now();
      const bool gone = bytes == 0 || (bytes < 0 && error != EAGAIN && error != EINTR);
      if (gone) return lose();
      if (bytes < 0) break;
      assembler_.feed({buffer_.data(), static_cast<std::size_t>(bytes)});
      if (assembler_.overlong()) {
        intake_.remark_overlong(LineAssembler::longest_line, " (check \"baud\")");
      }
      if (!port_) return;
    }
    await_bytes();
  }

  void lose() {
    stream_.release();
    port_.reset();
    known_ = false;
    tell(false, arrived_);
    remark("can't be heard any more: its port is gone; looking for it");
    look_after(first_look);
  }

  void look_after(base::Duration wait) {
    timer_.after(wait, [this, wait] { look_again(wait); });
  }

  void look_again(base::Duration waited) {
    try {
      SerialPort port(settings_);
      remark("its port is back: " + port.path());
      adopt(std::move(port));
    } catch (const PortFault& fault) {
      const bool is_news = fault.found() != std::exchange(last_trouble_, fault.found());
      if (is_news) remark(fault.what());
      look_after(std::min(waited * 2, longest_look));
    }
  }

  // Who it is.

  void begin_to_ask() {
    give_up_ = lines::kernel_now() + identity_->timeout;
    ask(between_questions);
  }

  void ask(base::Duration wait) {
    port_->write(identity_->query);
    timer_.after(wait, [this, wait] { miss_answer(wait); });
  }

  void miss_answer(base::Duration waited) {
    if (lines::kernel_now() < give_up_) return ask(waited);
    known_ = false;
    if (tell(false, lines::kernel_now())) remark("does not answer who it is");
    ask(std::min(waited * 2, longest_look));
  }

  void take_answer(const std::string& version) {
    std::optional<std::string> before;
    {
      const std::scoped_lock lock(version_mutex_);
      before = std::exchange(version_, version);
    }
    answered_.notify_all();
    if (before && *before != version) {
      remark(fmt::format("answers version \"{}\" now, after \"{}\"", version, *before));
    }
    known_ = true;
    tell(true, arrived_);
    timer_.cancel();  // nothing is missed any more
    if (identity_->alive_every) timer_.after(*identity_->alive_every, [this] { begin_to_ask(); });
  }

  /// It forgets what it has heard when it starts anew.
  void take_banner() {
    if (!known_) return;
    known_ = false;
    tell(false, arrived_);
    remark("has started anew");
    begin_to_ask();
  }

  // What it says.

  void take_line(std::string_view line) {
    LineSorter::Sorted sorted = intake_.sort(line, arrived_);
    switch (sorted.kind) {
      case LineSorter::Kind::answer: return take_answer(sorted.version);
      case LineSorter::Kind::banner: return take_banner();
      case LineSorter::Kind::report:
        if (known_) intake_.tell(std::move(sorted.reading), arrived_);  // else it may be another
        return;
      case LineSorter::Kind::foreign:
      case LineSorter::Kind::other: return;
    }
  }

  // Whom it tells.

  bool tell(bool up, KernelInstant at) { return intake_.tell_state(up, at); }
  void remark(const std::string& text) { intake_.remark(text); }
  void remark_latency(const SerialPort& port) {
    remark(fmt::format(
        "the USB bridge of {} keeps bytes back for up to {} ms, and this user may not lower that; "
        "it is in the uncertainty of latencies (echo 1 | sudo tee "
        "/sys/bus/usb-serial/devices/ttyUSB*/latency_timer)",
        port.path(), base::to_ms(port.latency())));
  }
  SerialSettings settings_;
  std::optional<IdentitySettings> identity_;
  Intake intake_;

  asio::io_context context_{1};
  asio::posix::stream_descriptor stream_{context_};
  OneTimer timer_{context_};  ///< looking for the port, or asking
  std::optional<SerialPort> port_;
  std::atomic<base::Duration> latency_{base::Duration{}};
  std::string last_trouble_;
  std::array<char, 4096> buffer_{};
  KernelInstant arrived_;
  LineAssembler assembler_{[](std::string_view) {}};

  bool known_ = false;  ///< it has answered since it was plugged in or started
  KernelInstant give_up_;
  std::mutex version_mutex_;
  std::condition_variable answered_;
  std::optional<std::string> version_;

  std::thread thread_;
};

SerialListener::SerialListener(std::string device, const SerialSettings& settings,
                               const std::optional<IdentitySettings>& identity, Hearers hearers)
    : ear_(std::make_unique<Ear>(std::move(device), settings, identity, std::move(hearers))) {}

SerialListener::~SerialListener() = default;

std::optional<std::string> SerialListener::version(base::Duration patience) {
  return ear_->version(patience);
}

base::Duration SerialListener::arrival_width() const {
  return ear_->latency() + stamp_width(false);
}

}  // namespace plexor::rig
