#include "app/service_notice.hpp"

#include <fmt/format.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

#include <algorithm>
#include <charconv>
#include <cstddef>
#include <cstdint>
#include <cstdlib>

namespace plexor::app {

namespace {

using namespace std::chrono_literals;

std::string_view variable(const char* name) {
  const char* value = std::getenv(name);
  return value == nullptr ? std::string_view{} : std::string_view{value};
}

std::optional<std::int64_t> whole_number(std::string_view text) {
  std::int64_t value = 0;
  const char* end = text.data() + text.size();
  const auto [stop, error] = std::from_chars(text.data(), end, value);
  if (error != std::errc{} || stop != end) return std::nullopt;
  return value;
}

/// Half of the watchdog's time, where it is for this process.
std::optional<base::Duration> half_of_watchdog() {
  const auto microseconds = whole_number(variable("WATCHDOG_USEC"));
  const std::string_view whose = variable("WATCHDOG_PID");
  if (!microseconds || *microseconds <= 0) return std::nullopt;
  if (!whose.empty() && whole_number(whose) != std::int64_t{getpid()}) return std::nullopt;
  return base::Duration{std::chrono::microseconds{*microseconds}} / 2;
}

/// One line, whatever it says: each line of a message is an assignment of its own.
std::string in_one_line(std::string text) {
  std::ranges::replace(text, '\n', ' ');
  return text;
}

/// A path, or with '@' first a name without a file.
socklen_t write_address(const std::string& address, sockaddr_un& to) {
  to.sun_family = AF_UNIX;
  address.copy(static_cast<char*>(to.sun_path), address.size());
  if (address.front() == '@') to.sun_path[0] = '\0';
  return static_cast<socklen_t>(offsetof(sockaddr_un, sun_path) + address.size());
}

}  // namespace

ServiceNotice::ServiceNotice() : feed_every_(half_of_watchdog()) {
  const std::string_view address = variable("NOTIFY_SOCKET");
  const bool is_known = address.starts_with('/') || address.starts_with('@');
  if (!is_known || address.size() >= sizeof(sockaddr_un::sun_path)) return;
  socket_ = lines::Descriptor(socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0));
  if (socket_.is_open()) address_ = address;
}

bool ServiceNotice::send(std::string_view message) {
  if (address_.empty()) return true;
  sockaddr_un to{};
  const socklen_t length = write_address(address_, to);
  return sendto(socket_.get(), message.data(), message.size(), MSG_DONTWAIT | MSG_NOSIGNAL,
                reinterpret_cast<const sockaddr*>(&to), length) >= 0;
}

void ServiceNotice::ready(const std::string& status) {
  is_ready_ = true;
  owed_ = fmt::format("READY=1\nSTATUS={}\n", in_one_line(status));
  if (send(owed_)) owed_.clear();
}

void ServiceNotice::goes_round() {
  if (!is_ready_ || address_.empty()) return;
  if (!owed_.empty() && send(owed_)) owed_.clear();
  const lines::KernelInstant now = lines::kernel_now();
  if (feed_every_ && now >= feed_at_ && send("WATCHDOG=1\n")) feed_at_ = now + *feed_every_;
}

void ServiceNotice::status(const std::string& status) {
  constexpr base::Duration between = std::chrono::seconds{5};
  const lines::KernelInstant now = lines::kernel_now();
  if (address_.empty() || now < tell_at_) return;
  tell_at_ = now + between;
  (void)send(fmt::format("STATUS={}\n", in_one_line(status)));
}

void ServiceNotice::stopping(const std::string& status) {
  constexpr std::chrono::microseconds patience = std::chrono::hours{1};
  const std::string watchdog =
      feed_every_ ? fmt::format("WATCHDOG_USEC={}\n", patience.count()) : "";
  const std::string message =
      fmt::format("STOPPING=1\nSTATUS={}\n{}", in_one_line(status), watchdog);
  // The run is over: now there is time to wait a little, so that the watchdog is told.
  constexpr int most_tries = 20;
  for (int i = 0; i < most_tries && !send(message); ++i) lines::kernel_nap(50ms);
}

}  // namespace plexor::app
