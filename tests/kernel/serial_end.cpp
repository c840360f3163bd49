#include "kernel/serial_end.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <array>
#include <stdexcept>

namespace plexor {

namespace {

int open_port(const std::string& port) {
  const int descriptor = open(port.c_str(), O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
  if (descriptor < 0) throw std::runtime_error("can't open " + port);
  return descriptor;
}

}  // namespace

SerialEnd::SerialEnd(const std::string& port, const Hearer& hear)
    : descriptor_(open_port(port)), assembler_(hear) {
  termios settings{};
  tcgetattr(descriptor_, &settings);
  cfmakeraw(&settings);
  tcsetattr(descriptor_, TCSANOW, &settings);
  tcflush(descriptor_, TCIOFLUSH);
}

SerialEnd::~SerialEnd() { close(descriptor_); }

void SerialEnd::look() {
  std::array<char, 256> bytes{};
  const ssize_t count = read(descriptor_, bytes.data(), bytes.size());
  if (count > 0) assembler_.feed({bytes.data(), static_cast<std::size_t>(count)});
}

void SerialEnd::say(std::string_view line) {
  const std::string text = std::string(line) + "\n";
  if (write(descriptor_, text.data(), text.size()) != static_cast<ssize_t>(text.size())) {
    throw std::runtime_error("the cable takes no more");
  }
  tcdrain(descriptor_);
}

termios settings_of(const std::string& port) {
  const int descriptor = open_port(port);
  termios settings{};
  tcgetattr(descriptor, &settings);
  close(descriptor);
  return settings;
}

}  // namespace plexor
