#include "rig/port_listener.hpp"

#include <fcntl.h>
#include <poll.h>
#include <termios.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <system_error>
#include <utility>

#include "base/error.hpp"
#include "rig/line_assembler.hpp"

namespace plexor::rig {

namespace {

using namespace std::chrono_literals;

/// -1, with errno set, if it can't be opened or is no terminal.
int open_port(const std::string& port) {
  const int descriptor = open(port.c_str(), O_RDONLY | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
  if (descriptor < 0) return -1;
  termios settings{};
  if (tcgetattr(descriptor, &settings) != 0) {
    const int reason = errno;
    close(descriptor);
    errno = reason;
    return -1;
  }
  cfmakeraw(&settings);
  tcsetattr(descriptor, TCSANOW, &settings);
  tcflush(descriptor, TCIFLUSH);
  return descriptor;
}

}  // namespace

PortListener::PortListener(std::string port, Hearers hearers)
    : port_(std::move(port)), hearers_(std::move(hearers)) {
  const int descriptor = open_port(port_);
  if (descriptor < 0) {
    throw base::RigFault("port " + port_ + ": " + std::generic_category().message(errno) +
                         "; check the cable and \"port\" in the rig file");
  }
  thread_ = std::thread([this, descriptor] { live(descriptor); });
}

PortListener::~PortListener() {
  over_ = true;
  thread_.join();
}

void PortListener::live(int descriptor) {
  while (descriptor >= 0) {
    listen(descriptor);
    close(descriptor);
    if (over_) return;
    hearers_.state(false, lines::kernel_now());
    descriptor = find_again();
    if (descriptor >= 0) hearers_.state(true, lines::kernel_now());
  }
}

/// Until the port is gone or listening is over.
void PortListener::listen(int descriptor) {
  constexpr int look_up_ms = 100;
  lines::KernelInstant arrived;
  LineAssembler assembler([&](std::string_view line) { hearers_.line(line, arrived); });
  std::array<char, 4096> buffer{};
  while (!over_) {
    pollfd readable{descriptor, POLLIN, 0};
    if (poll(&readable, 1, look_up_ms) <= 0) continue;
    const ssize_t bytes = read(descriptor, buffer.data(), buffer.size());
    arrived = lines::kernel_now();
    if (bytes > 0) {
      assembler.feed({buffer.data(), static_cast<std::size_t>(bytes)});
    } else if (bytes == 0 || (errno != EAGAIN && errno != EINTR)) {
      return;
    }
  }
}

int PortListener::find_again() const {
  constexpr base::Duration between_tries = 200ms;
  while (!over_) {
    if (const int descriptor = open_port(port_); descriptor >= 0) return descriptor;
    lines::kernel_nap(between_tries);
  }
  return -1;
}

}  // namespace plexor::rig
