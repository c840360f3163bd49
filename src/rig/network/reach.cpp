#include "rig/network/reach.hpp"

#include <netdb.h>
#include <poll.h>
#include <sys/socket.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstring>
#include <memory>
#include <system_error>

#include "base/error.hpp"

namespace plexor::rig {

namespace {

using namespace std::chrono_literals;

std::optional<std::string> not_connected(const addrinfo& to, base::Duration patience, int give_up) {
  const int socket = ::socket(to.ai_family, SOCK_STREAM | SOCK_NONBLOCK | SOCK_CLOEXEC, 0);
  const auto close_it = [](const int* open) { ::close(*open); };
  const std::unique_ptr<const int, decltype(close_it)> owner(&socket, close_it);
  if (::connect(socket, to.ai_addr, to.ai_addrlen) == 0) return std::nullopt;
  if (errno != EINPROGRESS) return base::last_reason();
  std::array<pollfd, 2> awaited{{{socket, POLLOUT, 0}, {give_up, POLLIN, 0}}};
  const auto wait_ms = std::chrono::duration_cast<std::chrono::milliseconds>(patience).count();
  if (::poll(awaited.data(), awaited.size(), static_cast<int>(wait_ms)) <= 0) return "no answer";
  if (awaited[0].revents == 0) return "given up";
  int error = 0;
  socklen_t length = sizeof error;
  getsockopt(socket, SOL_SOCKET, SO_ERROR, &error, &length);
  return error == 0 ? std::nullopt
                    : std::optional<std::string>(std::generic_category().message(error));
}

}  // namespace

std::optional<std::string> unreachable(const std::string& host, std::uint16_t port,
                                       base::Duration patience, int give_up) {
  addrinfo wanted{};
  wanted.ai_socktype = SOCK_STREAM;
  addrinfo* found = nullptr;
  const int error = getaddrinfo(host.c_str(), std::to_string(port).c_str(), &wanted, &found);
  if (error != 0) return gai_strerror(error);
  const std::unique_ptr<addrinfo, decltype(&freeaddrinfo)> owner(found, freeaddrinfo);
  std::optional<std::string> complaint;
  for (const addrinfo* one = found; one != nullptr; one = one->ai_next) {
    complaint = not_connected(*one, patience, give_up);
    if (!complaint) return std::nullopt;
  }
  return complaint;
}

}  // namespace plexor::rig
