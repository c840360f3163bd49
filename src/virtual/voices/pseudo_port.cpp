#include "virtual/voices/pseudo_port.hpp"

#include <fcntl.h>
#include <poll.h>
#include <termios.h>
#include <unistd.h>

#include <array>
#include <cstdlib>
#include <string>
#include <system_error>

#include "base/error.hpp"

namespace plexor::virtual_rig {

namespace {

[[noreturn]] void fail(const std::filesystem::path& path, const std::string& reason) {
  throw base::RigFault("pseudo-terminal at " + path.string() + ": " + reason);
}

}  // namespace

PseudoPort::PseudoPort(std::filesystem::path path)
    : path_(std::move(path)), master_(posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC)) {
  std::array<char, 128> name{};
  if (master_ < 0 || grantpt(master_) != 0 || unlockpt(master_) != 0 ||
      ptsname_r(master_, name.data(), name.size()) != 0) {
    fail(path_, base::last_reason());
  }
  slave_ = open(name.data(), O_RDWR | O_NOCTTY | O_CLOEXEC);
  if (slave_ < 0) fail(path_, base::last_reason());
  termios settings{};
  tcgetattr(slave_, &settings);
  cfmakeraw(&settings);
  tcsetattr(slave_, TCSANOW, &settings);
  std::error_code error;
  if (std::filesystem::is_symlink(path_) && !std::filesystem::exists(path_)) {
    std::filesystem::remove(path_, error);
  }
  std::filesystem::create_symlink(name.data(), path_, error);
  if (error) fail(path_, error.message());
}

PseudoPort::~PseudoPort() {
  std::error_code ignored;
  std::filesystem::remove(path_, ignored);
  close(slave_);
  close(master_);
}

void PseudoPort::write_line(std::string_view text) {
  const std::string line = std::string(text) + "\n";
  pollfd writable{master_, POLLOUT, 0};
  if (poll(&writable, 1, 0) > 0) (void)!::write(master_, line.data(), line.size());
}

std::size_t PseudoPort::write(std::string_view bytes) {
  const ssize_t written = ::write(master_, bytes.data(), bytes.size());
  return written < 0 ? 0 : static_cast<std::size_t>(written);
}

std::string PseudoPort::read() {
  std::array<char, 512> bytes{};
  const ssize_t count = ::read(master_, bytes.data(), bytes.size());
  return {bytes.data(), count < 0 ? 0 : static_cast<std::size_t>(count)};
}

}  // namespace plexor::virtual_rig
