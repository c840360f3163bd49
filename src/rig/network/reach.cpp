#include "rig/network/reach.hpp"

#include <poll.h>
#include <sys/socket.h>

#include <algorithm>
#include <array>
#include <boost/asio/executor_work_guard.hpp>
#include <boost/asio/io_context.hpp>
#include <boost/asio/ip/tcp.hpp>
#include <cerrno>
#include <optional>
#include <system_error>

#include "base/error.hpp"
#include "lines/descriptor.hpp"
#include "lines/lines.hpp"
#include "rig/network/name_lookup.hpp"

namespace plexor::rig {

namespace {

namespace asio = boost::asio;
using lines::KernelInstant;
using namespace std::chrono_literals;

/// How long to wait, at the most, and what ends it early.
struct Patience {
  KernelInstant until;
  int give_up = -1;

  [[nodiscard]] int left_ms() const {
    const auto left = std::max(until - lines::kernel_now(), base::Duration::zero());
    return static_cast<int>(std::chrono::duration_cast<std::chrono::milliseconds>(left).count());
  }
  [[nodiscard]] bool is_over() const {
    pollfd given_up{give_up, POLLIN, 0};
    return lines::kernel_now() >= until || ::poll(&given_up, 1, 0) > 0;
  }
};

std::optional<std::string> not_connected(const asio::ip::tcp::endpoint& to, const Patience& wait) {
  const lines::Descriptor socket(
      ::socket(to.protocol().family(), SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0));
  if (::connect(socket.get(), to.data(), static_cast<socklen_t>(to.size())) == 0) {
    return std::nullopt;
  }
  if (errno != EINPROGRESS) return base::last_reason();
  std::array<pollfd, 2> awaited{{{socket.get(), POLLOUT, 0}, {wait.give_up, POLLIN, 0}}};
  if (::poll(awaited.data(), awaited.size(), wait.left_ms()) <= 0) return "no answer";
  if (awaited[0].revents == 0) return "given up";
  int error = 0;
  socklen_t length = sizeof error;
  getsockopt(socket.get(), SOL_SOCKET, SO_ERROR, &error, &length);
  return error == 0 ? std::nullopt : std::optional(std::generic_category().message(error));
}

NameLookup::Addresses addresses_of(const std::string& host, const Patience& wait,
                                   std::string& complaint) {
  asio::io_context context;
  const auto work = asio::make_work_guard(context);
  NameLookup lookup(context);
  NameLookup::Addresses addresses;
  bool is_found = false;
  complaint = "its name is not found in time";
  lookup.look_up(host, [&](const boost::system::error_code& error, const auto& found) {
    is_found = true;
    addresses = found;
    complaint = error ? error.message() : "";
  });
  while (!is_found && !wait.is_over()) context.run_one_for(20ms);
  return addresses;
}

}  // namespace

Reached reach(const std::string& host, std::uint16_t port, Addresses which, base::Duration patience,
              int give_up) {
  const Patience wait{lines::kernel_now() + patience, give_up};
  std::string complaint;
  for (const auto& address : addresses_of(host, wait, complaint)) {
    const auto problem = not_connected({address, port}, wait);
    if (!problem) return {address.to_string(), ""};
    complaint = *problem;
    if (which == Addresses::only_first) break;
  }
  return {"", complaint};
}

}  // namespace plexor::rig
